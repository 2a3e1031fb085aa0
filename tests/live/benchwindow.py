"""The bench window on a real output and input: ``python benchwindow.py PROCEDURE FEED OUTPUT STEPS``.

Everything is answered as suggested; after so many steps it is stopped in the middle of a tone, 0 for never.
It prints the result and exits.
"""

import json
import os
import sys
import time
from pathlib import Path

os.environ["QT_QPA_PLATFORM"] = "offscreen"

from PySide6.QtWidgets import QApplication

from audiotest.tones.reported import bench_document
from audiotest.window.benchwindow import BenchWindow
from audiotest.window.settings import Settings

LONGEST_S = 150.0


def main(procedure: str, feed: str, output: str, stop_after: int) -> None:
    """Through all pages."""
    app = QApplication(sys.argv[:1])
    settings = Settings(appearance="light", feed_file=feed, output_file=output)
    window = BenchWindow(lambda: settings, lambda **changes: None, Path(feed).parent)
    window.open_up()
    window.choice.live.setChecked(True)
    window.choice.choose(procedure)
    window.choice.start.click()
    assert window.pages.currentWidget() is window.consent, window.choice.trouble.text()
    window.consent.agreed.setChecked(True)
    window.consent.go.click()
    run = window.run
    assert run is not None
    until_s = time.monotonic() + LONGEST_S
    while window.pages.currentWidget() is not window.outcome and time.monotonic() < until_s:
        app.processEvents()
        window.running.press()
        now = run.moment
        if stop_after and now.doing == "sending" and now.steps_done >= stop_after:
            time.sleep(0.3)
            window.stop()
        time.sleep(0.03)
    print(json.dumps(bench_document(run.moment.report, rehearsed=window.rehearsed)), flush=True)
    window.shut()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3], int(sys.argv[4]))
