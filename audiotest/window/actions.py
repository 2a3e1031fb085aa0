"""Every action of the window with its menu, name, key and explanation: one table for menus and help."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Deed:
    """One thing the user can do; `name` is the method of the main window that does it.

    Held down, its key does it once, or over and over where it `repeats`.
    """

    name: str
    menu: str
    text: str
    keys: tuple[str, ...]
    checkable: bool = False
    repeats: bool = False


DEEDS = (
    Deed(name="set_up", menu="&Feed", text="&Set up: input, scale, limits …", keys=("S",)),
    Deed(name="practise", menu="&Feed", text="&Practise on the simulated set", keys=("P",)),
    Deed(name="listen", menu="&Feed", text="&Listen to the input", keys=("L",)),
    Deed(name="record", menu="&Feed", text="&Record what is heard", keys=("Ctrl+R",), checkable=True),
    Deed(name="talk", menu="&Feed", text="&Talk now (simulated set)", keys=("T",)),
    Deed(name="leave", menu="&Feed", text="&Quit", keys=("Ctrl+Q",)),
    Deed(name="replay", menu="&Over", text="&Replay", keys=("R",)),
    Deed(name="hush", menu="&Over", text="&Stop the replay", keys=("H",)),
    Deed(name="keep", menu="&Over", text="&Keep as a file", keys=("K",)),
    Deed(name="discard", menu="&Over", text="&Discard", keys=("D", "Del")),
    Deed(name="compare", menu="&Over", text="&Compare the two chosen overs", keys=("C",)),
    Deed(name="earlier", menu="&Over", text="&Earlier over", keys=("[", "Alt+Left"), repeats=True),
    Deed(name="newer", menu="&Over", text="&Newer over", keys=("]", "Alt+Right"), repeats=True),
    Deed(name="job_sheets", menu="&Sheet", text="&Job sheets …", keys=("J",)),
    Deed(name="over_as_found", menu="&Sheet", text="Over on the sheet, as &found", keys=("1",)),
    Deed(name="over_as_left", menu="&Sheet", text="Over on the sheet, as &left", keys=("2",)),
    Deed(name="bench_measurements", menu="&Bench", text="Bench &measurements …", keys=("M",)),
    Deed(name="far", menu="&View", text="&Far view, to read across the room", keys=("F",), checkable=True),
    Deed(
        name="pictures",
        menu="&View",
        text="&Pictures: scope, spectrum, waterfall",
        keys=("N",),
        checkable=True,
    ),
    Deed(name="freeze", menu="&View", text="Free&ze the pictures", keys=("Z",), checkable=True),
    Deed(name="scope_view", menu="&View", text="S&cope: raw, flattened or both", keys=("V",)),
    Deed(name="persistence", menu="&View", text="Scope &trails", keys=("G",), checkable=True),
    Deed(name="average", menu="&View", text="Spectrum &averaging", keys=("A",), checkable=True),
    Deed(name="clear", menu="&View", text="C&lear peaks and overload lamp", keys=("X",)),
    Deed(name="whole", menu="&View", text="&Whole range again after zooming", keys=("W",)),
    Deed(name="appearance", menu="&View", text="Li&ght or dark", keys=("B",)),
    Deed(name="larger", menu="&View", text="La&rger", keys=("Ctrl++", "Ctrl+="), repeats=True),
    Deed(name="smaller", menu="&View", text="S&maller", keys=("Ctrl+-",), repeats=True),
    Deed(name="sound_cue", menu="&View", text="So&und cue after each over", keys=("U",), checkable=True),
    Deed(name="keys", menu="&Help", text="&Keys", keys=("?", "F1")),
    Deed(name="cautions", menu="&Help", text="&Cautions", keys=()),
)

OTHER_KEYS = (
    ("Tab, Shift+Tab", "to the next pane and back"),
    (
        "← → ↑ ↓",
        "in a picture: move the cursor (Shift: ten steps); on a knob: turn it; on the tape: choose",
    ),
    ("Shift+← →", "on the tape: choose a second over"),
    ("Space", "in a picture: set or take away the mark"),
    ("+ −, Page Up, Page Down", "in a picture: zoom across, zoom up"),
    ("Esc", "take the cursor away; back from the far view"),
    ("A, B, Space, H", "in the comparison: play one or the other equally loud, change over, silence"),
    ("L, T", "in the comparison: blind, drawn by lot; tell which is which"),
    ("Enter, F5", "in the job sheets: put the typed reading on the sheet; read the file again"),
)

CAUTIONS = (
    "Use a dummy load on the bench. Keep to the limits for exposure to radio frequency.",
    "Send on the air only where your licence and the local rules allow it; no tones on a busy channel.",
    "Never key a transmitter into a sound card, a generator or a receiver's antenna socket.",
    "Capacitors in power supplies hold their charge; the mains side is for those who are trained for it.",
    "A bridged loudspeaker output has no earthed side: isolate it with a transformer.",
    "Start headphones low: open-squelch hiss is near full scale.",
    "The limits shown are reference values: the local code and the licence decide.",
)


def key_help() -> str:
    """All keys as a table of HTML rows."""
    rows = "".join(
        f"<tr><td><b>{' or '.join(deed.keys)}</b></td><td>&nbsp;&nbsp;{deed.text.replace('&', '')}</td></tr>"
        for deed in DEEDS
        if deed.keys
    )
    rows += "".join(
        f"<tr><td><b>{keys}</b></td><td>&nbsp;&nbsp;{text}</td></tr>" for keys, text in OTHER_KEYS
    )
    return f"<table>{rows}</table>"
