"""Vector files of a pattern at true size in millimetres: SVG and DXF, one layer for each kind of line."""

from __future__ import annotations

import io
from xml.etree import ElementTree as Tree

import numpy as np

from lightcheck.pattern import drawing as draw
from lightcheck.pattern.drawing import Drawing, Label
from lightcheck.pattern.product import Pattern

_MARGIN_MM = 5.0
_STROKE_MM = {draw.EDGE: 0.25, draw.SHEET: 0.25}
_DASH = {draw.CENTRELINE: "8 2 1 2", draw.WATERLINES: "4 2"}
_COLOUR = {draw.EDGE: 1, draw.SHEET: 5, draw.CENTRELINE: 6, draw.WATERLINES: 4}  # DXF colour numbers
_LINETYPE = {draw.CENTRELINE: "CENTER", draw.WATERLINES: "DASHED"}


def svg(pattern: Pattern) -> str:
    """SVG whose unit is the millimetre. Each layer is a group; the edge is the path with id "edge"."""
    drawn = draw.drawing(pattern)
    low, high = pattern.sheet_mm.min(axis=0) - _MARGIN_MM, pattern.sheet_mm.max(axis=0) + _MARGIN_MM
    wide, tall = high - low
    root = Tree.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{wide:.3f}mm",
            "height": f"{tall:.3f}mm",
            "viewBox": f"0 0 {wide:.3f} {tall:.3f}",
        },
    )
    Tree.SubElement(root, "title").text = f"{pattern.title}, station {pattern.section.station}"
    for layer in draw.LAYERS:
        group = Tree.SubElement(root, "g", _style(layer))
        for stroke in (s for s in drawn.strokes if s.layer == layer):
            at = (stroke.at_mm - (low[0], high[1])) * (1, -1)
            path = "M" + " L".join(f"{x:.4f},{y:.4f}" for x, y in at)
            named = {"id": "edge"} if layer == draw.EDGE else {}
            Tree.SubElement(group, "path", {"d": path, **named})
        for label in (s for s in _labels(pattern, drawn) if s.layer == layer):
            _svg_words(group, label, low, high)
    Tree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + Tree.tostring(root, encoding="unicode") + "\n"


def dxf(pattern: Pattern) -> str:
    """DXF in millimetres with the origin on the centreline at the base line; the edge is on layer EDGE."""
    import ezdxf
    from ezdxf.enums import TextEntityAlignment

    drawn = draw.drawing(pattern)
    document = ezdxf.new("R2010", setup=["linetypes"])
    document.header["$INSUNITS"] = 4  # millimetres; left alone it would be metres
    document.header["$MEASUREMENT"] = 1
    for layer in draw.LAYERS:
        document.layers.add(layer, color=_COLOUR.get(layer, 7), linetype=_LINETYPE.get(layer, "CONTINUOUS"))
    space = document.modelspace()
    for stroke in drawn.strokes:
        space.add_lwpolyline(
            [(float(x), float(y)) for x, y in stroke.at_mm], dxfattribs={"layer": stroke.layer}
        )
    for label in _labels(pattern, drawn):
        text = space.add_text(
            label.text,
            height=0.72 * label.size_mm,
            rotation=float(np.degrees(label.turn_rad)),
            dxfattribs={"layer": label.layer},
        )
        text.set_placement(
            (label.x_mm, label.y_mm),
            align=TextEntityAlignment.MIDDLE_CENTER if label.middle else TextEntityAlignment.LEFT,
        )
    out = io.StringIO()
    document.write(out)
    return out.getvalue()


def _labels(pattern: Pattern, drawn: Drawing) -> tuple[Label, ...]:
    """The labels, and a number in each card's place, since its squares are not drawn here."""
    numbers = tuple(
        Label(
            layer=draw.CARDS, text=f"card {c.card}", x_mm=c.x_mm, y_mm=c.y_mm, turn_rad=c.turn_rad,
            size_mm=5.0, middle=True,
        )
        for c in pattern.cards
    )  # fmt: skip
    return drawn.labels + numbers


def _style(layer: str) -> dict[str, str]:
    dash = {"stroke-dasharray": _DASH[layer]} if layer in _DASH else {}
    width = f"{_STROKE_MM.get(layer, 0.15)}"
    return {"id": f"layer-{layer.lower()}", "fill": "none", "stroke": "black", "stroke-width": width, **dash}


def _svg_words(group: Tree.Element, label: Label, low: np.ndarray, high: np.ndarray) -> None:
    x, y = label.x_mm - low[0], high[1] - label.y_mm
    Tree.SubElement(
        group,
        "text",
        {
            "transform": f"translate({x:.3f} {y:.3f}) rotate({-np.degrees(label.turn_rad):.3f})",
            "font-size": f"{label.size_mm:.2f}",
            "font-family": "Helvetica, Arial, sans-serif",
            "fill": "black",
            "stroke": "none",
            "text-anchor": "middle" if label.middle else "start",
            "dominant-baseline": "middle" if label.middle else "auto",
        },
    ).text = label.text
