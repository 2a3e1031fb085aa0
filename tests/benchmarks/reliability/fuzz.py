"""Coverage-led fuzzing of everything that is read from disk; run by hand, see README.md beside this file.

The first byte of an input chooses what the rest is taken for: a recording, a feed file or a sheet. What the
ordinary tests promise is held here as well: a record with finite figures, or one line that refuses.
"""

import json
import os
import sys
import tempfile
import warnings
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["audiotest"]):
    from audiotest.keep.sheets import Sheets
    from tests.robust import material

SEEDS = (
    *(b"r" + content for content in material.recordings()),
    b"f" + material.FEED_TOML,
    b"f" + material.FEED_TOML + material.PATH_TOML,
    b"s" + json.dumps(material.SHEET).encode(),
)


def main(arguments: list[str]) -> None:
    """Fuzz until told to stop: the folder of inputs, then libFuzzer's own options."""
    corpus = Path(arguments[1])
    corpus.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(SEEDS):
        (corpus / f"seed{number}").write_bytes(seed)
    folder = Path(tempfile.mkdtemp(prefix="fuzz"))
    clip, feed = folder / "clip.wav", folder / "feed.toml"
    sheets = Sheets(folder / "sheets.sqlite")

    def one(data: bytes) -> None:
        kind, rest = data[:1], data[1:]
        if kind == b"r":
            clip.write_bytes(rest)
            material.checked_or_refused(clip)
        elif kind == b"f":
            feed.write_bytes(rest)
            material.fed_or_refused(feed)
        elif kind == b"s":
            material.imported_or_refused(sheets, rest)

    # A warning would come out on the user's screen.
    warnings.simplefilter("error", RuntimeWarning)
    atheris.Setup([arguments[0], *arguments[1:]], one)
    atheris.Fuzz()


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    main(sys.argv)
