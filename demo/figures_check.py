"""Does `lightcheck check` name the fault of a bad set of photos, and leave good sets alone?

    python demo/figures_check.py            every set at full size, a table and the counts
    python demo/figures_check.py --small    the same on a smaller board, as the tests do
    python demo/figures_check.py NAME ...   these sets only, with all that was said

Sets are made by tests/photo_sets.py with one known fault each; good ones are also taken from fixtures/.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

from lightcheck import check, lamp

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "tests"))
import photo_sets as sets  # noqa: E402


def look(paths, typed) -> tuple[tuple, float]:
    """Findings and the seconds they took, reading included."""
    start = time.perf_counter()
    found = check.files(tuple(paths), lamps=tuple(lamp.read(t) for t in typed))
    return found, time.perf_counter() - start


def bad(name: str, folder: Path, small: bool) -> tuple[str, tuple, float]:
    wanted, make = sets.BAD[name]
    return (wanted, *look(*sets.write(make(sets.Bench.of(small=small)), folder)))


def fixture(folder: Path) -> tuple[tuple, float]:
    typed = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["lamps"]
    return look(sorted(folder.glob("*.jpg")), typed)


def names(found) -> list[str]:
    return sorted({f.name for f in found if f.severity != "green"})


def bad_table(wanted_names, folder: Path, small: bool, wordy: bool) -> None:
    first = named = alone = 0
    print(f"{'fault':<34} {'to be named':<24} {'named':<6} also said")
    for name in wanted_names:
        wanted, found, seconds = bad(name, folder / name.replace(" ", "-"), small)
        said = names(found)
        others = [s for s in said if s != wanted]
        named += wanted in said
        first += found[0].name == wanted
        alone += wanted in said and not others
        yes = "yes" if wanted in said else "NO"
        print(f"{name:<34} {wanted:<24} {yes:<6} {', '.join(others)}  ({seconds:.1f} s)")
        if wordy:
            for one in found:
                print("   ", one)
    total = len(wanted_names)
    print(
        f"{total} bad sets: {named} named, {first} of them in the first line, {alone} with nothing else said."
    )


def good_table(folder: Path, small: bool) -> None:
    clean, total = 0, 0
    cases = [
        (f"good {n + 1}", lambda n=n: look(*sets.write(sets.good(n, small=small), folder / f"g{n}")))
        for n in range(len(sets.GOOD))
    ]
    for told in sorted(HERE.parent.glob("fixtures/*/truth.json")):
        truth = json.loads(told.read_text(encoding="utf-8"))
        if "lamps" in truth and not truth.get("gloss"):  # those with gloss are no good sets
            cases.append((told.parent.name, lambda p=told.parent: fixture(p)))
    for name, make in cases:
        found, seconds = make()
        accused = [f"{f.name} ({f.severity})" for f in found if f.severity != "green"]
        clean, total = clean + (not accused), total + 1
        print(f"{name:<34} {', '.join(accused) or 'nothing'}  ({seconds:.1f} s)")
    print(f"{total} good sets: {total - clean} accused of anything.")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*")
    parser.add_argument("--small", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        wordy = bool(asked.names)
        bad_table(asked.names or list(sets.BAD), Path(folder), asked.small, wordy)
        if not wordy:
            good_table(Path(folder), asked.small)


if __name__ == "__main__":
    main()
