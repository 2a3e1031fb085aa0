"""Every picture of the pages is made by a script, and the drawing is what its script draws."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from docs.pictures import wiring
from tests.docs.reading import PAGES, ROOT

PICTURE = re.compile(r"!\[[^\]]+\]\(([^)\s]+)\)")
MAKERS = {
    path: path.read_text("utf-8")
    for path in (*(ROOT / "docs" / "pictures").glob("*.py"), ROOT / "tests/benchmarks/accuracy/page.py")
}
SVG = "{http://www.w3.org/2000/svg}"


def _shown() -> set[Path]:
    return {
        (page.parent / picture).resolve()
        for page in PAGES
        for picture in PICTURE.findall(page.read_text("utf-8"))
    }


def test_every_picture_has_its_script():
    shown = _shown()
    assert len(shown) >= 8
    for picture in shown:
        name = re.compile(rf'"{picture.stem}(\.\w+)?"')
        assert [path.name for path, text in MAKERS.items() if name.search(text)], picture.name


def test_every_picture_is_shown():
    there = {path.resolve() for kind in ("png", "svg") for path in (ROOT / "docs").rglob(f"*.{kind}")}
    assert there == _shown()


def test_the_wiring_is_what_its_script_draws():
    assert wiring.FILE.read_text("utf-8") == wiring.drawing()


def test_the_wiring_stays_within_its_frame_and_boxes():
    """In letters as wide as those of DejaVu Sans, a wide sans-serif: 0.56 em on average, bold 0.6."""
    root = ElementTree.fromstring(wiring.drawing())
    boxes = [
        tuple(float(each.get(key, "0")) for key in ("x", "y", "width", "height"))
        for each in root.iter(f"{SVG}rect")
        if each.get("class") == "box"
    ]
    inside = 0
    for each in root.iter(f"{SVG}text"):
        kinds, x, y = (each.get("class") or "").split(), float(each.get("x", "0")), float(each.get("y", "0"))
        em = 12 if "s" in kinds else 14
        width = len(each.text or "") * em * (0.56 if "s" in kinds else 0.6)
        left = x - width / 2 if "m" in kinds else x - width if "e" in kinds else x
        assert left > 0
        assert left + width < wiring.WIDTH, each.text
        assert em < y < wiring.HEIGHT, each.text
        for bx, by, wide, high in boxes:
            if "m" in kinds and bx < x < bx + wide and by < y < by + high:
                inside += 1
                assert bx <= left, each.text
                assert left + width <= bx + wide, each.text
                assert by + em < y < by + high - 4, each.text
    assert inside >= 15


def test_the_text_beside_the_wiring_has_its_values():
    page = (ROOT / "docs" / "getting-started.md").read_text("utf-8")
    of_voltage = 10 ** (-wiring.DOWN_DB / 20)
    assert 1 / of_voltage == pytest.approx(11)
    # 1 W into 8 Ω is 2.83 V.
    said = f"gives {(1 * 8) ** 0.5:.1f} V RMS at 1 W into 8 Ω: {wiring.SERIES_KOHM} kΩ in series and "
    said += f"{wiring.SHUNT_KOHM} kΩ across the input leave an eleventh of it (−{wiring.DOWN_DB:.0f} dB), "
    said += f"{8**0.5 * of_voltage:.2f} V."
    assert said in page
