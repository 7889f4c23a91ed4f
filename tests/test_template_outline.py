"""Designed outlines: how they are read, laid on a template, and what the wood stands off them."""

from pathlib import Path

import numpy as np
import pytest

from lightcheck import template
from lightcheck.errors import LightcheckError
from lightcheck.patch import CardPlace
from lightcheck.template import Design, Outline, Seat
from lightcheck.template.against import Cards, stand_off

DEMO = Path(__file__).parents[1] / "demo"
LONG, SHORT = 600.0, 350.0
SEATED = Seat(marks=("height",), lift_sigma_mm=0.0, side_sigma_mm=0.0, rock_sigma_rad=0.0)
TURN, SHIFT = 0.6, np.array([40.0, -25.0])  # of the template's frame against the drawing


def ellipse(turn, off=0.0):
    """Parallel curve of an ellipse: its points moved along the normal (b cos, a sin), by definition."""
    normal = np.stack([SHORT * np.cos(turn), LONG * np.sin(turn)], -1)
    normal /= np.hypot(*normal.T)[:, None]
    return np.stack([LONG * np.cos(turn), SHORT * np.sin(turn)], -1) + off * normal, normal


def on_template(places):
    c, s = np.cos(TURN), np.sin(TURN)
    return places @ np.array([[c, s], [-s, c]]) + SHIFT


def rows(daylight, low=0.8, high=1.9, n=300):
    """Edge, up and daylight of a template cut to the ellipse, in its own frame."""
    edge, up = ellipse(np.linspace(high, low, n))
    return (
        on_template(edge),
        on_template(up) - SHIFT,
        np.broadcast_to(daylight, n).astype(float),
        np.full(n, 0.02),
    )


CARDS = (
    CardPlace(card=4, x_mm=-90, y_mm=400, turn_rad=0.1),
    CardPlace(card=5, x_mm=160, y_mm=395, turn_rad=-0.3),
)


def seen_cards():
    places = on_template(np.array([[c.x_mm, c.y_mm] for c in CARDS]))
    return tuple(
        CardPlace(card=c.card, x_mm=x, y_mm=y, turn_rad=c.turn_rad + TURN)
        for c, (x, y) in zip(CARDS, places, strict=True)
    )


def outline(scale=1.0, cards=(), **more):
    points = ellipse(np.linspace(2.1, 0.6, 900))[0] * scale
    cards = tuple(
        CardPlace(card=c.card, x_mm=c.x_mm * scale, y_mm=c.y_mm * scale, turn_rad=c.turn_rad) for c in cards
    )
    return Outline(source="designed.csv", points_mm=points, cards=cards, **more)


def against(design, seat=SEATED, daylight=0.8, wood=(), thick_mm=0.0):
    cards = Cards(template=seen_cards(), wood=wood)
    return stand_off(design, seat, cards, rows(daylight), thick_mm=thick_mm)


@pytest.mark.parametrize("cards", [CARDS, ()])
def test_wood_along_the_parallel_curve_of_an_ellipse(cards):
    """0.8 mm of daylight square to the edge everywhere is wood 0.8 mm inside its designed shape."""
    off = against(Design(outline=outline(cards=cards)))
    assert off.off_mm == pytest.approx(np.full(300, -0.8), abs=0.01)
    assert np.abs(off.cut_mm).max() < 0.01
    assert off.unknown == () and off.tied_by == ("cards" if cards else "shape")
    on = (off.design_mm[:, 0] / LONG) ** 2 + (off.design_mm[:, 1] / SHORT) ** 2
    assert on == pytest.approx(1, abs=1e-4)
    assert (np.diff(off.design_mm[:, 0]) > 0).all()


def test_past_the_ends_of_the_outline_nothing_is_said():
    """The board reaches over the centreline; the outline ends there."""
    points = ellipse(np.linspace(1.6, 0.6, 900))[0]
    short = Outline(source="designed.csv", points_mm=points, cards=CARDS)
    off = against(Design(outline=short))
    past = np.linspace(1.9, 0.8, 300) > 1.6
    assert np.isnan(off.off_mm[past][:-2]).all() and np.isnan(off.cut_mm[past][:-2]).all()
    assert off.off_mm[~past] == pytest.approx(-0.8, abs=0.01)
    assert np.isfinite(off.shape_mm[~past]).all()


def test_what_no_mark_holds_is_unknown_and_leaves_only_the_shape():
    """A dip 1 mm deep: lift and rock change its level, and not how deep it is against its surroundings."""
    dip = np.exp(-(((np.arange(300) - 150) / 12) ** 2))
    loose = against(Design(outline=outline(cards=CARDS)), seat=Seat(), daylight=0.8 + dip)
    assert loose.unknown == ("lift", "side", "rock")
    assert loose.shape_mm[150] - np.median(loose.shape_mm) == pytest.approx(-1, abs=0.1)
    assert abs(np.median(loose.shape_mm)) < 0.1 and np.median(loose.off_mm) < -0.75
    seated = against(Design(outline=outline(cards=CARDS)), seat=template.seat(("tick", "square", "height")))
    assert seated.unknown == () and (seated.sigma_mm > 0.3).all()


def test_a_card_on_the_wood_proves_where_the_template_sits():
    """The template stands 2 mm high; a card on the wood shows it, and the wood is where it is."""
    ends = rows(0.0)[1].mean(axis=0)
    moved = -2.0 * ends / np.hypot(*ends)
    extra = CardPlace(card=9, x_mm=20, y_mm=300, turn_rad=0.0)
    x, y = on_template(np.array([[20.0, 300.0]]))[0] + moved
    wood = (CardPlace(card=9, x_mm=x, y_mm=y, turn_rad=TURN),)
    off = against(Design(outline=outline(cards=(*CARDS, extra))), seat=Seat(), daylight=0.0, wood=wood)
    assert off.unknown == () and off.tied_by == "cards on the wood"
    assert np.median(off.off_mm) == pytest.approx(2.0, abs=0.25)


def test_the_other_face_on_a_bevel_reads_thickness_times_tangent():
    """6 mm at 20 degrees: 2.2 mm."""
    design = Design(outline=outline(cards=CARDS, face="aft"), face="forward", bevel_rad=np.radians(20))
    off = against(design, thick_mm=6.0)
    assert off.face_mm == pytest.approx(2.2, abs=0.05)
    assert off.off_mm == pytest.approx(np.full(300, -0.8 - off.face_mm), abs=0.01)
    same = Design(outline=outline(cards=CARDS, face="aft"), face="aft", bevel_rad=np.radians(20))
    assert against(same, thick_mm=6.0).face_mm == 0


def test_the_other_face_without_a_bevel_is_refused():
    design = Design(outline=outline(cards=CARDS, face="aft"), face="forward")
    with pytest.raises(LightcheckError, match="aft face") as refusal:
        against(design, thick_mm=6.0)
    assert "--bevel" in refusal.value.remedy
    with pytest.raises(LightcheckError, match="does not say which face"):
        against(Design(outline=outline(cards=CARDS), face="aft"))


@pytest.mark.parametrize("cards", [CARDS, CARDS[:1], ()])
@pytest.mark.parametrize(
    ("scale", "word"),
    [
        (1 / 25.4, "25.4 times too small"),
        (0.1, "10 times too small"),
        (25.4, "25.4 times too large"),
    ],
)
def test_units_that_disagree_are_refused(scale, word, cards):
    with pytest.raises(LightcheckError, match=word) as refusal:
        against(Design(outline=outline(scale, cards=cards)))
    assert "millimetres" in refusal.value.remedy


def test_another_templates_outline_is_refused():
    others = tuple(CardPlace(card=c.card + 8, x_mm=c.x_mm, y_mm=c.y_mm, turn_rad=0) for c in CARDS)
    with pytest.raises(LightcheckError, match="shows card 4 and 5, and the outline has card 12 and 13"):
        against(Design(outline=outline(cards=others)))
    line = np.stack([np.linspace(0, 900, 50), 60 * np.sin(np.linspace(0, 9, 50))], -1)
    with pytest.raises(LightcheckError, match="not on the outline"):
        against(Design(outline=Outline(source="other.csv", points_mm=line)))


# --- files --------------------------------------------------------------------------------------


def written(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_a_list_of_points_with_its_notes(tmp_path):
    path = written(
        tmp_path / "four.csv",
        "# station,4\n# face,aft\n# tick,0,52\n# card,4,591.2,345.6,90\nx_mm,y_mm\n0,52\n10,53\n20,56\n",
    )
    read = template.read_outline(path)
    assert read.points_mm.tolist() == [[0, 52], [10, 53], [20, 56]]
    assert (read.station, read.face, read.tick_mm) == ("4", "aft", (0, 52))
    (card,) = read.cards
    assert (card.card, card.x_mm, card.y_mm) == (4, 591.2, 345.6)
    assert card.turn_rad == pytest.approx(np.pi / 2)


def test_points_far_apart_on_a_round_are_faired_through(tmp_path):
    """Every 5 degrees of a circle of 620 mm: chords would be 0.59 mm off it, R (1 - cos 2.5 deg)."""
    turn = np.radians(np.arange(60, 121, 5))
    text = "\n".join(f"{620 * np.cos(t):.4f},{620 * np.sin(t):.4f}" for t in turn)
    fine = template.read_outline(written(tmp_path / "round.csv", text)).fine_mm()
    middle = np.abs(np.arctan2(*fine.T)) < np.radians(20)
    assert np.abs(np.hypot(*fine.T) - 620)[middle].max() < 0.03


@pytest.mark.parametrize("unit", [1, 4, 5])
def test_a_dxf_of_an_arc_and_a_line(tmp_path, unit):
    """$INSUNITS 1, 4, 5 are inches, mm, cm (DXF reference)."""
    import ezdxf

    size = {1: 25.4, 4: 1.0, 5: 10.0}[unit]
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = unit
    space = document.modelspace()
    space.add_arc((0, 0), 500 / size, 60, 120)
    ends = 500 * np.array([np.cos(np.radians(60)), np.sin(np.radians(60))]) / size
    space.add_line(tuple(ends), (ends[0] + 50 / size, ends[1]))
    document.saveas(tmp_path / "arc.dxf")
    read = template.read_outline(tmp_path / "arc.dxf")
    fine = read.fine_mm()
    round_ = np.hypot(*fine.T)[fine[:, 0] < 249]
    assert np.abs(round_ - 500).max() < 0.02
    length = np.hypot(*np.diff(fine, axis=0).T).sum()
    assert length == pytest.approx(500 * np.pi / 3 + 50, abs=0.1)


def test_an_svg_at_its_true_size(tmp_path):
    """A half circle of 100 mm radius in a drawing that is 300 mm wide and 600 units across, y down."""
    text = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="150mm" viewBox="0 0 600 300">'
        '<path d="M0,0 L10,10"/><path id="edge" d="M100,250 A200,200 0 0 1 500,250"/></svg>'
    )
    fine = template.read_outline(written(tmp_path / "half.svg", text)).fine_mm()
    assert np.abs(np.hypot(fine[:, 0] - 150, fine[:, 1] + 125) - 100).max() < 0.05
    assert fine[:, 1].max() == pytest.approx(-25, abs=0.05)


def test_the_outline_that_a_pattern_writes_is_read(tmp_path):
    from lightcheck import pattern
    from lightcheck.offsets import read as read_offsets

    drawn = pattern.make(read_offsets(DEMO / "offsets.csv"), pattern.Cut(station="4", cards=(4, 5)))
    read = template.read_outline(written(tmp_path / "p.csv", pattern.outline_csv(drawn)))
    assert [c.card for c in read.cards] == [4, 5] and read.station == "4" and read.face == drawn.face
    assert read.points_mm[0] == pytest.approx(drawn.edge.at_mm[0], abs=1e-3)
    assert read.cards[0].x_mm == pytest.approx(drawn.cards[0].x_mm, abs=1e-3)
    assert read.cards[0].turn_rad == pytest.approx(drawn.cards[0].turn_rad, abs=1e-4)


@pytest.mark.parametrize(
    ("name", "text", "problem"),
    [
        ("a.csv", "x_mm,y_mm\n0,0\n10,10\n10,0\n0,10\n", "crosses itself"),
        ("b.csv", "0,0\n10,0\n20,0\n\n0,50\n10,50\n20,50\n", "in 2 pieces"),
        ("c.csv", "x_mm,y_mm\n0,0\n10,0\n", "fewer than three points"),
        ("d.csv", "x_in,y_in\n0,0\n1,1\n2,2\n", "Line 1 of d.csv is not a point"),
        ("e.csv", "0,0\n1,nan\n2,2\n", "Line 2 of e.csv"),
        ("f.csv", "# card,four,1,2,3\n0,0\n1,1\n2,3\n", "# line"),
        ("g.dxf", "not a drawing", "not a DXF"),
        ("h.svg", "<svg", "not a SVG|fewer than three"),
    ],
)
def test_outlines_that_can_not_be_used(tmp_path, name, text, problem):
    with pytest.raises(LightcheckError, match=problem) as refusal:
        template.read_outline(written(tmp_path / name, text))
    assert refusal.value.remedy


def test_a_dxf_in_two_pieces_is_refused(tmp_path):
    import ezdxf

    document = ezdxf.new("R2010")
    document.modelspace().add_lwpolyline([(0, 0), (50, 5), (100, 0)])
    document.modelspace().add_lwpolyline([(0, 60), (50, 65), (100, 60)])
    document.saveas(tmp_path / "two.dxf")
    with pytest.raises(LightcheckError, match="in 2 pieces") as refusal:
        template.read_outline(tmp_path / "two.dxf")
    assert "layer EDGE" in refusal.value.remedy


def test_a_missing_outline_and_an_unknown_mark():
    with pytest.raises(LightcheckError, match="can not be read"):
        template.read_outline("nowhere.csv")
    with pytest.raises(LightcheckError, match="not a mark") as refusal:
        template.seat(("glue",))
    assert "tick" in refusal.value.remedy
