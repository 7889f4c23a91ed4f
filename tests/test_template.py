"""Daylight under drawn templates: widths, places, frame, what is refused and what is flagged."""

import numpy as np
import pytest
from drawn_template import LEFT, RIGHT, Scene, save

from lightcheck import template
from lightcheck.errors import LightcheckError
from lightcheck.template import Asked, Seat
from lightcheck.template.lip import hidden

PITCH = 110.0  # touching places of the drawn wood: 55 mm either side, and 165


def waves(x):
    return 0.9 + 0.9 * np.cos(2 * np.pi * np.asarray(x) / PITCH)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("drawn")


@pytest.fixture(scope="module")
def plain(folder):
    return template.measure(save(folder / "plain.jpg", Scene()))


def middle_mm():
    return np.array([(LEFT[1] + RIGHT[1]) / 2, (LEFT[2] + RIGHT[2]) / 2])


def drawn_x(reading):
    """x in the drawing of the rows of a reading, from the drawing of the two cards."""
    x = np.array([RIGHT[1] - LEFT[1], RIGHT[2] - LEFT[2]])
    x = x / np.linalg.norm(x)
    axes = np.stack([x, [-x[1], x[0]]])
    return (reading.edge_mm @ axes + middle_mm())[:, 0]


def whats(reading) -> set[str]:
    return {f.what for f in reading.flags}


def test_widths_along_the_edge(plain):
    x = drawn_x(plain)
    inside = np.abs(x) < 150
    error = np.abs(plain.daylight_mm - waves(x))[inside]
    assert np.median(error) < 0.02 and np.quantile(error, 0.95) < 0.06
    assert np.mean(error < 2 * plain.sigma_mm[inside]) > 0.9
    assert plain.light == "back" and plain.mm_per_px == pytest.approx(0.25, rel=0.01)


def test_touching_places(plain):
    found = [t for t in plain.touching if abs(t.x_mm) < 120]
    places = [np.interp(t.along_mm, plain.along_mm, drawn_x(plain)) for t in found]
    assert places == pytest.approx([-55, 55], abs=3)


def test_the_frame_is_that_of_the_cards(plain):
    """Origin midway between the card centres, x from the lower number to the higher, y off the wood."""
    low, high = plain.cards
    apart = np.hypot(RIGHT[1] - LEFT[1], RIGHT[2] - LEFT[2])
    assert (low.card, high.card) == (3, 7)
    assert [low.x_mm, low.y_mm, high.x_mm, high.y_mm] == pytest.approx(
        [-apart / 2, 0, apart / 2, 0], abs=0.15
    )
    assert (plain.edge_mm[:, 1] < -40).all() and (np.diff(plain.edge_mm[:, 0]) > 0).all()
    lean = np.degrees(np.arctan2(RIGHT[2] - LEFT[2], RIGHT[1] - LEFT[1]))
    assert np.degrees(high.turn_rad) == pytest.approx(RIGHT[3] - lean, abs=0.1)


def test_numbers_the_other_way_round_mirror_the_frame(folder, plain):
    """Card 7 on the left: x runs to the photo's left, and y still off the wood."""
    cards = ((7, *LEFT[1:]), (3, *RIGHT[1:]))
    turned = template.measure(save(folder / "turned.jpg", Scene(cards=cards)))
    assert (np.diff(turned.edge_mm[:, 0]) > 0).all() and (turned.edge_mm[:, 1] < -40).all()
    there = np.interp(-turned.edge_mm[:, 0], plain.edge_mm[:, 0], plain.daylight_mm)
    assert np.median(np.abs(turned.daylight_mm - there)) < 0.02
    assert turned.along_mm[0] == 0 and (np.diff(turned.along_mm) > 0).all()


def test_one_card_is_enough(folder):
    one = template.measure(save(folder / "one.jpg", Scene(cards=((5, 0.0, 50.0, 0.0),))))
    inside = np.abs(one.edge_mm[:, 0]) < 150
    error = np.abs(one.daylight_mm - waves(one.edge_mm[:, 0]))[inside]
    assert np.median(error) < 0.03


@pytest.mark.parametrize("upside", [2, 1])
def test_the_wood_may_lie_on_any_side_of_the_picture(folder, plain, upside):
    from PIL import Image

    with Image.open(folder / "plain.jpg") as photo:
        turned = photo.rotate(90 * upside, expand=True)
        turned.save(folder / "round.jpg", quality=95, exif=photo.getexif())
    again = template.measure(folder / "round.jpg")
    there = np.interp(again.edge_mm[:, 0], plain.edge_mm[:, 0], plain.daylight_mm)
    assert np.median(np.abs(again.daylight_mm - there)) < 0.02


def test_square_to_a_round_edge(folder):
    """Two circles about one centre: everywhere as far apart as their radii, however steep it is."""
    edge = lambda x: np.sqrt(500.0**2 - x**2) - 500  # noqa: E731
    wood = lambda x: np.sqrt(499.2**2 - x**2) - 500  # noqa: E731
    photo = save(folder / "round-gap.jpg", Scene(edge=edge, wood=wood))
    with pytest.raises(LightcheckError, match="daylight everywhere") as refusal:
        template.measure(photo)
    assert "down on the wood" in refusal.value.remedy
    held = Seat(marks=("height", "square"), lift_sigma_mm=0.3, rock_sigma_rad=0.002)
    reading = template.measure(photo, asked=Asked(seat=held))
    assert np.quantile(np.abs(reading.daylight_mm - 0.8), 0.95) < 0.04


@pytest.mark.parametrize(
    ("scene", "asked", "problem", "remedy"),
    [
        (Scene(cards=()), Asked(), "No card on the template", "Stick one or more cards"),
        (Scene(), Asked(on_wood=(3, 7)), "No card on the template", "Stick one or more cards"),
        (Scene(wood=lambda x: 0 * x), Asked(), "No daylight", "sheet or a window behind"),
        (Scene(wood=lambda x: 0 * x - 3), Asked(), "daylight everywhere", "down on the wood"),
        (
            Scene(sheet=lambda x, y: 0 * x + 0.02, template=0.15, timber=0.15, paper=0.5),
            Asked(),
            "wood of another colour|look alike",
            "sheet or a window behind",
        ),
        (
            Scene(sheet=lambda x, y: 0 * x + 0.02, template=0.15, timber=0.3, paper=0.5),
            Asked(held="batten"),
            "only be read against the light",
            "sheet or a window behind",
        ),
    ],
)
def test_refusals(tmp_path, scene, asked, problem, remedy):
    with pytest.raises(LightcheckError, match=problem) as refusal:
        template.measure(save(tmp_path / "photo.jpg", scene), asked=asked)
    assert remedy in refusal.value.remedy


def test_an_edge_that_leaves_the_picture_is_flagged(folder):
    reading = template.measure(save(folder / "cut.jpg", Scene(), crop=(0, 250)))
    assert "edge cut off by the frame" in whats(reading)
    assert "edge cut off by the frame" not in whats(template.measure(folder / "plain.jpg"))


def test_a_burnt_out_and_an_uneven_light_are_flagged(folder, plain):
    burnt = template.measure(save(folder / "burnt.jpg", Scene(sheet=lambda x, y: 1.4 + 0 * x)))
    uneven = template.measure(save(folder / "uneven.jpg", Scene(sheet=lambda x, y: 0.5 + x / 450)))
    assert "light behind burnt out" in whats(burnt) and "light behind burnt out" not in whats(plain)
    assert "light behind uneven" in whats(uneven) and "light behind uneven" not in whats(plain)


def test_a_phone_far_below_the_edge_is_flagged_and_widens_sigma(folder, plain):
    photo = save(folder / "low.jpg", Scene(middle=(0.0, -50.0), size=(1600, 1200)))
    low = template.measure(photo, asked=Asked(thick_mm=6))
    assert "phone not level with the edge" in whats(low)
    assert "phone not level with the edge" not in whats(plain)
    # 50 mm below the edge against 30 mm above it: what the wood may hide grows with the square
    assert np.median(low.sigma_mm) / np.median(plain.sigma_mm) == pytest.approx((50 / 30) ** 2, rel=0.15)


def test_a_far_lip_hides_what_a_ray_past_it_says():
    """A phone 30 mm below the edge, 1200 mm off: the ray past a lip 6 mm deep meets the face so far down."""
    edge, down = np.zeros((1, 2)), np.array([[0.0, -1.0]])
    eye = np.array([0.0, -30.0, 1200.0])
    lip = hidden(edge, down, eye_mm=eye, eye_cov_mm2=np.zeros((3, 3)), thick_mm=6.0)
    far = np.array([0.0, 0.0, -6.0])
    share = (0 - far[2]) / (eye[2] - far[2])
    meets = far + share * (eye - far)
    assert lip.hidden_mm[0] == pytest.approx(-meets[1], rel=0.01)
    above = hidden(edge, down, eye_mm=eye * (1, -1, 1), eye_cov_mm2=np.zeros((3, 3)), thick_mm=6.0)
    assert above.hidden_mm[0] == 0


def test_a_batten_is_read_against_the_light(folder):
    """A strip 8 mm deep sprung over the wood, with small cards standing on it."""
    scene = Scene(top=8.0, cards=((3, -70.0, 43.0, 0.0), (7, 70.0, 43.0, 0.0)))
    reading = template.measure(save(folder / "batten.jpg", scene), asked=Asked(held="batten"))
    error = np.abs(reading.daylight_mm - waves(reading.edge_mm[:, 0]))[np.abs(reading.edge_mm[:, 0]) < 150]
    assert reading.held == "batten" and np.median(error) < 0.03
