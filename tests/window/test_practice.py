"""The simulated set: turned controls are heard in the next over."""

import _multiprocessing
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from audiotest.radio.link import Simulation
from audiotest.session.engine import Engine
from audiotest.standards.limits import get_limits
from audiotest.window.practice import (
    AS_FOUND,
    PRACTICE_FEED,
    Adjustment,
    PracticeRadio,
    render_hiss,
    render_over,
    start_renderer,
)


def test_the_set_as_found_reads_right_and_is_driven_far_too_hard(as_found: Simulation) -> None:
    truth = as_found.truth[0]
    assert 1.75 <= truth.peak_khz <= 2.5
    assert truth.drive_db > 14.0


def test_each_control_moves_its_own_figure(as_found: Simulation) -> None:
    here = as_found.truth[0]
    turned = render_over(replace(AS_FOUND, mic_gain_db=AS_FOUND.mic_gain_db - 5.0), 0).truth[0]
    assert here.drive_db - turned.drive_db == pytest.approx(5.0, abs=0.01)
    assert turned.peak_khz == pytest.approx(here.peak_khz, rel=0.05)
    opened = render_over(replace(AS_FOUND, ceiling_khz=1.5 * AS_FOUND.ceiling_khz), 0).truth[0]
    assert opened.drive_db == pytest.approx(here.drive_db, abs=0.01)
    assert opened.peak_khz == pytest.approx(1.5 * here.peak_khz, rel=0.01)


def test_hiss_is_hiss() -> None:
    hiss = render_hiss()
    assert len(hiss) > 3 * 48000
    assert float(np.std(hiss)) > 0.1


def test_radio_talks_by_itself_and_the_engine_hears_the_overs() -> None:
    made: list[Adjustment] = []

    def short(adjustment: Adjustment, number: int) -> Simulation:
        made.append(adjustment)
        return render_over(adjustment, number)

    with ThreadPoolExecutor(1) as executor:
        radio = PracticeRadio(executor, pace=40.0, render=short)
        engine = Engine(48000, feed=PRACTICE_FEED, limits=get_limits("uk-27fm"))
        overs = []
        deadline_s = time.monotonic() + 30.0
        for block in radio.blocks():
            overs += engine.push(block.samples)
            if len(overs) == 1:
                radio.adjustment = Adjustment(mic_gain_db=13.0, ceiling_khz=1.95)
            if len(overs) == 2 or time.monotonic() > deadline_s:
                radio.close()
    assert len(overs) == 2
    first, second = (over.limiter.drive_db for over in overs)
    assert first is not None
    assert second is not None
    assert first - second > 6.0
    assert made[-1].mic_gain_db == 13.0
    assert radio.truths[1][0].mic_gain_db == 13.0


def test_a_silent_set_talks_only_when_asked() -> None:
    with ThreadPoolExecutor(1) as executor:
        radio = PracticeRadio(executor, pace=40.0)
        radio.automatic = False
        heard_s = 0.0
        deadline_s = time.monotonic() + 30.0
        for block in radio.blocks():
            heard_s += len(block.samples) / 48000
            if heard_s > 8.0 and not radio.truths:
                radio.talk()
            if radio.truths or time.monotonic() > deadline_s:
                break
        radio.close()
    assert radio.truths
    assert heard_s > 8.0


def test_closing_ends_the_blocks_from_another_thread() -> None:
    with ThreadPoolExecutor(1) as executor:
        radio = PracticeRadio(executor)
        reader = threading.Thread(target=lambda: list(radio.blocks()))
        reader.start()
        time.sleep(0.1)
        radio.close()
        reader.join(30.0)
        assert not reader.is_alive()


@pytest.mark.parametrize("refusal", [PermissionError(13, "Permission denied"), ImportError("no semaphores")])
def test_without_shared_memory_the_set_talks_from_a_thread(
    monkeypatch: pytest.MonkeyPatch, refusal: Exception
) -> None:
    class Refused(_multiprocessing.SemLock):  # type: ignore[name-defined,misc]
        def __new__(cls, *_: object) -> "Refused":
            raise refusal

    # What a process pool asks the system for first, and does not get where shared memory is closed.
    monkeypatch.setattr(_multiprocessing, "SemLock", Refused)
    radio = PracticeRadio(start_renderer(), pace=40.0)
    radio.talk()
    deadline_s = time.monotonic() + 30.0
    for _ in radio.blocks():
        if radio.truths or time.monotonic() > deadline_s:
            radio.close()
    assert radio.truths[0][0] == AS_FOUND
