"""Fresh: the job.toml that a new job starts with, remarks and all.

The values offered are common practice, no source. They are nobody's rule and stand behind # until the
builder takes the # away, except the two amounts of wood left, which only name the stages of the work.
"""

from __future__ import annotations

import json

from lightcheck.job.settings import SCHEMA

_TEXT = """\
# A lightcheck job: one part of one boat through all its passes.
#
# This file is yours: change it by hand. lightcheck wrote it once and only reads it from now on.
# Every length carries its unit: "3mm", "1/8in", "1.2m". Lines that start with # are remarks; take the
# # away from a setting to use it.

schema = {schema}

part = {part}
side = {side}     # port, starboard, centre or none
bow = {bow}      # where the bow lies as you face the wood: left, right, up, down or none

# --- when to stop --------------------------------------------------------------------------------
# Your own tolerances: no gap of more than this under a straightedge of that length, laid on the wood
# with the shape of the boat taken out. All that are listed must hold. No rule asks for them. Where
# others start under thin planking (common practice, no source): 0.3mm over 300mm and 0.7mm over 1000mm.
tolerances = [
{tolerances}
]

least = "0.1mm"       # least height of a hump or hollow worth listing
longest = "400mm"     # longest hump that still counts; longer is the shape of the boat

[left_on_the_wood]    # common practice, no source; put your own
roughed = "3mm"             # left after roughing down (others leave 3 to 6 mm; about 1 mm once planed)
for_the_longboard = "0.3mm" # left for the longboard (others leave 0.2 to 0.4 mm)

[planking]
# thickness = "6mm"
# species = "western red cedar"

[stations]            # name = distance along the part, from wherever you measure
# 3 = "900mm"
# 4 = "1350mm"

# --- the lamp ------------------------------------------------------------------------------------
[lamps]               # places used again and again, for: lightcheck job add --lamp left-stand
# left-stand = "left,900mm,110mm"
# right-stand = "right,900mm,110mm"

# --- tools on the bench; one block for each ------------------------------------------------------
# [[tools]]
# name = "block plane"
# kind = "plane"      # plane, spokeshave or longboard
# sole_length = "150mm"
# sole_width = "50mm"
# shaving = "0.05mm"
"""
_CARDS = """\
# --- the cards -----------------------------------------------------------------------------------
# measured = "99.4mm,99.6mm"  # what the x and y rulers on the printed sheet really measure
# card_thickness = "3mm"      # of cards glued to something stiff

"""
_OFFERED = '  # "0.3mm over 300mm",\n  # "0.7mm over 1000mm",'


def toml(*, part: str, side: str = "none", bow: str = "none", tolerances: tuple[str, ...] = ()) -> str:
    """Text of a new job.toml. tolerances: as typed, "0.3mm over 300mm"; none leaves the offered ones out."""
    own = "\n".join(f"  {_quoted(t)}," for t in tolerances)
    text = _TEXT.format(
        schema=SCHEMA,
        part=_quoted(part),
        side=_quoted(side),
        bow=_quoted(bow),
        tolerances=own or _OFFERED,
    )
    at = text.index("[left_on_the_wood]")  # settings without a table must stand before the first one
    return text[:at] + _CARDS + text[at:]


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are a part of TOML's."""
    return json.dumps(" ".join(text.split()), ensure_ascii=False).replace("\x7f", "\\u007f")
