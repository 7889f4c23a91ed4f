"""What the steps of the demo share: taking photos, and the lamps as they are typed."""

from __future__ import annotations

from pathlib import Path


def shoot(visit, folder: Path) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """Photos of a visit and their lamps as a builder would write them down."""
    from lightcheck import specimen
    from lightcheck.specimen import scenario

    shots = specimen.shoot(visit.board, visit.arrangement, folder, seed=visit.seed, phone=scenario.PHONE)
    photos, lamps = zip(*shots, strict=True)
    return photos, lamps


def lamp_words(lamps: tuple[str, ...]) -> str:
    """Lamps as they are typed."""
    return " ".join(f"--lamp {spec}" for spec in lamps)
