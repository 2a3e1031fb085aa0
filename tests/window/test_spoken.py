"""What a real assistive technology reads: the window on X, AT-SPI beside it, a reader in another process."""

import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.window.processes import Told, environment, window_process, x_display

pytestmark = pytest.mark.window
HERE = Path(__file__).parent
LAUNCHER = Path("/usr/libexec/at-spi-bus-launcher")
SYSTEM_PYTHON = "/usr/bin/python3"
BINDINGS = "import gi; gi.require_version('Atspi', '2.0'); from gi.repository import Atspi"


def missing() -> str:
    """What is not installed, empty when everything is."""
    for tool in ("Xvfb", "dbus-daemon"):
        if shutil.which(tool) is None:
            return tool
    if not LAUNCHER.exists():
        return "at-spi2-core"
    found = subprocess.run([SYSTEM_PYTHON, "-c", BINDINGS], capture_output=True, check=False)
    return "" if found.returncode == 0 else "gir1.2-atspi-2.0 for the system's Python"


@pytest.fixture(scope="module")
def desktop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """A display, a session bus and AT-SPI on it, all of the test's own; the variables that lead there."""
    lacking = missing()
    if lacking:
        if os.environ.get("CI"):
            pytest.fail(f"{lacking} not found: the screen reader must run here")
        pytest.skip(f"{lacking} not found: nothing can read the window here")
    folder = tmp_path_factory.mktemp("desktop")
    folder.chmod(0o700)
    variables = environment(XDG_RUNTIME_DIR=str(folder), GIO_USE_VFS="local")
    quiet: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    started: list[subprocess.Popen[Any]] = []
    with x_display("1600x1000x24") as variables["DISPLAY"]:
        try:
            bus = subprocess.Popen(
                ["dbus-daemon", "--session", "--nofork", "--print-address"],
                env=variables, stdout=subprocess.PIPE, text=True, **quiet,
            )  # fmt: skip
            started.append(bus)
            assert bus.stdout is not None
            variables["DBUS_SESSION_BUS_ADDRESS"] = bus.stdout.readline().strip()
            started.append(
                subprocess.Popen(
                    [str(LAUNCHER), "--launch-immediately"], env=variables, stdout=subprocess.DEVNULL, **quiet
                )
            )
            yield variables
            bus.stdout.close()
        finally:
            for process in reversed(started):
                process.terminate()
                process.wait(20.0)


@pytest.fixture(scope="module")
def window(desktop: dict[str, str], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Told]:
    """The window, on show."""
    folder = tmp_path_factory.mktemp("window")
    variables = desktop | {"QT_QPA_PLATFORM": "xcb", "QT_LINUX_ACCESSIBILITY_ALWAYS_ON": "1"}
    made = window_process(folder, variables)
    try:
        yield made
        made.order("close")
        assert made.process.wait(60.0) == 0
    finally:
        made.end()


@pytest.fixture(scope="module")
def reader(desktop: dict[str, str], window: Told, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Told]:
    """The screen reader."""
    log = tmp_path_factory.mktemp("reader") / "log"
    made = Told([SYSTEM_PYTHON, str(HERE / "screenreader.py"), "audiotest"], desktop, log)
    try:
        made.wait_for(lambda told: told.get("event") == "ready")
        yield made
    finally:
        made.end()


def tree_of(window: Told, reader: Told, *orders: str) -> list[dict[str, Any]]:
    """What is on show after these orders."""
    for order in orders:
        window.order(order)
        window.wait_for(lambda told, order=order: told.get("done") == order)  # type: ignore[misc]
    for _ in range(20):
        reader.order("tree")
        tree: list[dict[str, Any]] = reader.wait_for(lambda told: "tree" in told)["tree"]
        if len(tree) > 3:
            return tree
        time.sleep(0.5)
    pytest.fail("the window is not on the accessibility bus")


PASSED_OVER = ("list item", "page tab", "table cell", "menu item", "check menu item")
"""What is inside a control; its texts are its own."""


def controls(tree: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [
        one for one in tree
        if {"FOCUSABLE", "SHOWING"} <= set(one["states"]) and one["role"] not in PASSED_OVER
    ]  # fmt: skip


def nameless(tree: list[dict[str, Any]]) -> list[tuple[str, str]]:
    """Controls that a screen reader cannot tell what they are for."""
    found = []
    for one in controls(tree):
        # Qt gives out what is chosen as the name of such a box: what it is for comes from its label.
        named = any(one["labelled by"]) if one["role"] == "combo box" else one["name"]
        if not named or not one["role"]:
            found.append((one["role"], one["name"]))
    return found


def roles(tree: list[dict[str, Any]]) -> set[str]:
    return {one["role"] for one in controls(tree)}


@pytest.mark.parametrize(
    ("orders", "at_least", "names"),
    [
        (["do practise"], {"dial", "push button", "check box", "list"}, {"Talk now", "over tape", "scope"}),
        (["do set_up"], {"combo box", "spin button", "check box"}, {"tone", "Try it, quietly", "Done"}),
        (["do job_sheets"], {"table", "text", "page tab list"}, {"Work on the set …", "search all sheets"}),
        (["do job_sheets", "set 1", "form fault"], {"text", "push button"}, {"fault", "cure"}),
        (
            ["do job_sheets", "set 1", "form spoken"],
            {"spin button", "combo box"},
            {"Readability, 1 to 5", "helper"},
        ),
        (["do bench_measurements"], {"radio button", "spin button"}, {"measurements", "Start"}),
        (["over 19 2.3", "over 5 2.2", "do compare"], {"push button", "check box"}, {"Tell (T)"}),
        (["do keys"], {"push button"}, {"Keys", "Done"}),
    ],
)
def test_every_control_has_a_role_and_says_what_it_is_for(
    window: Told, reader: Told, orders: list[str], at_least: set[str], names: set[str]
) -> None:
    tree = tree_of(window, reader, *orders)
    try:
        assert nameless(tree) == []
        assert at_least <= roles(tree)
        assert names <= {one["name"] for one in controls(tree)}
    finally:
        window.order("shut")


def test_the_knobs_of_the_practice_set_have_their_values(window: Told, reader: Told) -> None:
    dials = [one for one in tree_of(window, reader, "do practise") if one["role"] == "dial"]
    assert [one["value"] for one in dials] == [26.0, 39.0]
    assert [one["range"] for one in dials] == [[0.0, 32.0], [16.0, 80.0]]
    assert [one["name"] for one in dials] == [
        "mic gain of the simulated set, 26 dB", "deviation control of the simulated set, 1.95 kHz",
    ]  # fmt: skip


def said(reader: Told, words: str) -> None:
    """Wait until these words are announced."""
    reader.wait_for(lambda told: "announcement" in told.get("event", "") and words in told["detail"], 20.0)


def test_the_advice_is_said_when_an_over_is_finished(window: Told, reader: Told) -> None:
    window.order("over 21 2.3")
    said(reader, "Mic gain down, about 16 dB")
    window.order("over 5 3.6")
    said(reader, "Deviation down")
    tree = tree_of(window, reader)
    labels = {one["name"] for one in tree if one["role"] == "label"}
    assert any(name.startswith("advice: ") and "eviation down" in name for name in labels)
    assert "mic gain: leave" in labels
    assert any(one["role"] == "list item" and "mic gain: leave" in one["name"] for one in tree)


def test_what_the_window_has_to_say_is_said(window: Told, reader: Told) -> None:
    window.order("say over 3 kept")
    said(reader, "over 3 kept")


def test_the_bench_says_what_to_do(window: Told, reader: Told) -> None:
    window.order("do bench_measurements")
    window.order("bench rx-hum")
    try:
        said(reader, "Open the squelch.")
        tree = tree_of(window, reader)
        assert nameless(tree) == []
        assert {"Done  (Enter)", "stop: silence at once, keep what was measured"} <= {
            one["name"] for one in controls(tree)
        }
    finally:
        window.order("shut")


def test_the_far_view_is_read_as_one_instruction(window: Told, reader: Told) -> None:
    tree = tree_of(window, reader, "over 19 2.3", "do far")
    try:
        showing = [one["name"] for one in tree if one["role"] == "label" and "SHOWING" in one["states"]]
        assert any(name.startswith("MIC GAIN DOWN 14 dB") for name in showing)
    finally:
        window.order("do far")
