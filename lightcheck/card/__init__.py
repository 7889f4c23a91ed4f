"""Cards: the printed marker cards, and where a photo shows them.

A card is a small ChArUco board: its markers say which card it is, its chessboard corners, which are
saddle points and so keep their place under blur and uneven light, say where it is. The outline of a
marker is never used for measuring (it reads 0.1-2 % short).

    (0, 0) is the middle of the card, x along its long side, y up as printed     [mm on paper]
"""

from lightcheck.card.find import Sighting, find, find_all
from lightcheck.card.size import CardSize, board, size

__all__ = ["CardSize", "Sighting", "board", "find", "find_all", "size"]
