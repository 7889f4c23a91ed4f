"""Plan: the working list. What to do first, with which tool and how, how often, and where to stop."""

from lightcheck.plan.product import Low, Plan, Task, Wish
from lightcheck.plan.tool import BENCH, Tool, completed, read_tool
from lightcheck.plan.work import make

__all__ = ["BENCH", "Low", "Plan", "Task", "Tool", "Wish", "completed", "make", "read_tool"]
