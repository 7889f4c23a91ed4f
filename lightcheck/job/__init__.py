"""Job: one boat part through all its passes, in a folder of plain files.

`open_job` reads and tells what is missing; `changing` holds the lock round `add`, `undo`, `put_back` and
`make`. Nothing heavy is imported before a map is made or judged.
"""

from __future__ import annotations

from lightcheck.job.bench import bench
from lightcheck.job.fresh import toml
from lightcheck.job.opened import Job, changed_photos, open_job, without_pass
from lightcheck.job.overview import Overview, Row, bring_up, look
from lightcheck.job.passes import Damaged, Original, Pass
from lightcheck.job.result import Made, MakeMap, key, made, make, make_or_drop
from lightcheck.job.settings import BenchTool, Settings, Tolerance
from lightcheck.job.work import Shots, add, changing, create, drop, put_back, undo

__all__ = [
    "BenchTool", "Damaged", "Job", "Made", "MakeMap", "Original", "Overview", "Pass", "Row",
    "Settings", "Shots", "Tolerance", "add", "bench", "bring_up", "changed_photos", "changing", "create",
    "drop", "key", "look", "made", "make", "make_or_drop", "open_job", "put_back", "toml", "undo",
    "without_pass",
]  # fmt: skip
