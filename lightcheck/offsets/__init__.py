"""Offsets: a table of offsets, the sections faired from it, and the wood below the planking.

The table is a CSV file as a builder types it in a spreadsheet, laid out as tables of offsets are in
books: one row for each line, one column for each station, from forward to aft.

    title,Invented rowing boat           any name
    units,mm                             mm, or feet-inches-eighths for cells such as 2-3-4
    to,outside                           of the planking, or inside
    station,,,1,2,3                      the stations' names
    place,,,470,940,1410                 where they stand; or spacing,470 for an even spacing
    half-breadth,keel,,14,14,14
    half-breadth,WL 200,200,183,297,404  a waterline: its height in the third cell
    half-breadth,sheer,,401,508,577
    height,keel,,70,58,52
    height,buttock 300,300,323,202,145   a buttock: its half-breadth in the third cell
    height,sheer,,512,474,447

A line with a row of either kind needs no third cell (keel, chine, sheer). A cell is left blank where the
line does not reach. A line called chine or knuckle is a corner. Rows that start with # are notes. Commas,
semicolons or tabs part the cells; with semicolons 401,5 is a decimal comma.
"""

from lightcheck.offsets.planking import Edge, bevels, crosses_itself, crossings, edge
from lightcheck.offsets.section import Point, Section, points, section
from lightcheck.offsets.slip import Fairness, Slip, fairness
from lightcheck.offsets.table import Line, Table, read

__all__ = [
    "Edge",
    "Fairness",
    "Line",
    "Point",
    "Section",
    "Slip",
    "Table",
    "bevels",
    "crosses_itself",
    "crossings",
    "edge",
    "fairness",
    "points",
    "read",
    "section",
]
