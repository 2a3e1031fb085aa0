"""The one streaming pipeline: blocks of audio in, live readings and finished overs out.

Live, file and demo all push into it. Results do not depend on how the stream is cut into blocks: the
engine cuts it again into its own quanta, and every decision is made on those.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from audiotest.feeds.protocol import WILDEST_FS
from audiotest.measure.bands import BandPlan, band_frames, plan_bands
from audiotest.measure.beat import HOP_S, QUANTUM_HOPS, quantum_n
from audiotest.measure.conditions import TOO_QUIET_DBFS
from audiotest.measure.edges import change_point, squelch_tail_start, unnoticed_tail_start
from audiotest.measure.emphasis import USUAL_DEEMPHASIS_US
from audiotest.measure.hiss import ReceiverInverse, receiver_inverse
from audiotest.measure.level import OverloadCounter
from audiotest.measure.limiter import CEILING_MOVED
from audiotest.measure.over import OverAudio, measure_over
from audiotest.measure.views import AUDIO_HIGH_HZ
from audiotest.records import Feed, InputReading, InputVerdict, LimitSet, LiveReading, Over
from audiotest.session.cells import AUDIO_BANDS, CELL_HOPS
from audiotest.session.finder import OverFinder
from audiotest.session.livefigures import Floor, audio_rms, live_figures
from audiotest.session.memory import AudioMemory
from audiotest.session.running import FoundOver
from audiotest.units import amplitude_db, power_db

EDGE_SEARCH_S = 0.12
HISS_KEPT_S = 1.0
MIN_OVER_S = 0.15
QUANTA_AT_ONCE = 16
LONGEST_OVER_S = 75.0
LONGEST_OVER_N = 8_000_000
"""Of a longer over the end is kept and measured: memory is bounded, and more tells no more."""
LIVE_WINDOW_S = 0.3
SILENT_DBFS = -100.0


@dataclass(frozen=True, slots=True)
class _Begun:
    """The start of a long over and the hiss before it."""

    cell: int
    start_n: int
    hiss: NDArray[np.float32] | None


def _audio_plan(sample_rate_hz: int) -> BandPlan:
    """The bands the finder looks at, and none above."""
    plan = plan_bands(sample_rate_hz)
    count = AUDIO_BANDS.stop
    if len(plan.first_bins) <= count:
        return plan
    first_bins = plan.first_bins[:count]
    return replace(plan, first_bins=first_bins, end_bin=plan.first_bins[count], low_hz=plan.low_hz[:count])


class Engine:
    """A running measurement of one channel.

    Parameters
    ----------
    sample_rate_hz : int
        Sample rate of the stream, 6 kHz and up.
    feed : Feed or None
        Learned scale; None leaves every figure in kHz unmeasured.
    limits : LimitSet
        What deviation is held against.
    pause_ends_over_s : float or None
        For live use on a feed that shows no carrier edge: a pause of this length ends an over. None, as
        for files, makes such a stream one over.
    moves_ceiling : callable or None
        Whether what is said of an over has the deviation control turned: from then on the drive is told
        without the limiter's ceiling that the feed may keep.
    """

    def __init__(
        self,
        sample_rate_hz: int,
        *,
        feed: Feed | None,
        limits: LimitSet,
        pause_ends_over_s: float | None = None,
        moves_ceiling: Callable[[Over], bool] | None = None,
    ) -> None:
        self._rate = sample_rate_hz
        self._feed = feed
        self._moves_ceiling = moves_ceiling
        self.ceiling_moved = False
        """Whether the drive is told without the ceiling that the feed keeps."""
        self._limits = limits
        self._plan = _audio_plan(sample_rate_hz)
        self._finder = OverFinder(pause_ends_over_s=pause_ends_over_s)
        longest_n = min(round(LONGEST_OVER_S * sample_rate_hz), LONGEST_OVER_N)
        self._memory = AudioMemory(longest_n + 2 * sample_rate_hz)
        self._longest_n = longest_n
        self._frames_done = 0
        self._counter = OverloadCounter()
        self._peak = 0.0
        self._sum = 0.0
        self._square_sum = 0.0
        self._counted_n = 0
        self._lost: list[tuple[int, int]] = []
        self._lost_total_n = 0
        self._verdicts: list[tuple[int, float | None]] = []
        self._hiss: NDArray[np.float32] | None = None
        self._begun: _Begun | None = None
        self._live_hiss_fs: float | None = None
        self._inverse: ReceiverInverse | None = None
        self._live_cell: int | None = None
        self._floor: Floor | None = None

    # -- stream in --------------------------------------------------------------------------------

    def push(self, samples: NDArray[np.floating]) -> list[Over]:
        """Take the next samples of the stream, shape (n,), full scale 1.0; return the overs that ended.

        Samples that are no number, or beyond `WILDEST_FS`, count as zero: one bad value must not spoil a
        running session.
        """
        wide = np.asarray(samples)
        # Asked before it is made 32 bits wide, which the largest of 64 do not fit into; NaN fails as well.
        sane = np.abs(wide) <= WILDEST_FS
        block = np.asarray(wide if sane.all() else np.where(sane, wide, 0.0), dtype=np.float32)
        self._memory.append(block)
        return self._advance()

    def mark_lost(self, lost_n: int) -> None:
        """Note that `lost_n` samples (or an unknown number, given as 1) are missing at this point."""
        if lost_n > 0:
            self._lost.append((self._memory.end_n, lost_n))
            self._lost_total_n += lost_n

    def forget_ceiling(self) -> None:
        """Tell the drive without the limiter's ceiling from the next over on: a control was turned."""
        if self._feed is not None and self._feed.keeps_ceiling:
            self._feed, self.ceiling_moved = self._feed.without_ceiling(), True

    def finish(self) -> list[Over]:
        """End the stream: the last partial quantum is looked at and a running over is closed."""
        self._count_input(self._memory.end_n)
        overs: list[Over] = []
        for found in self._finder.finish():
            overs += self._measure(found, self._memory.end_n)
        return overs

    # -- what is known now ------------------------------------------------------------------------

    @property
    def duration_s(self) -> float:
        """Length of the stream so far in seconds."""
        return self._memory.end_n / self._rate

    @property
    def notes(self) -> tuple[str, ...]:
        """Remarks about the whole stream."""
        notes = []
        if self._counter.runs and self._verdicts and not any(runs for runs, _ in self._verdicts):
            notes.append("only the hiss between overs overloads the sound card; the overs do not")
        if self._lost_total_n:
            notes.append(f"the input lost {self._lost_total_n} samples or more")
        if self._finder.ends_in_noise:
            notes.append(
                "only a steady noise at its end, counted as no over: the hiss of an open squelch, "
                "or a carrier on which nobody spoke"
            )
        return tuple(notes)

    def input_reading(self) -> InputReading:
        """Level of the whole stream so far, with a verdict on the overs in it."""
        n = max(self._counted_n, 1)
        rms = float(np.sqrt(self._square_sum / n))
        peak_dbfs = amplitude_db(self._peak)
        silent = peak_dbfs is None
        return InputReading(
            peak_dbfs=peak_dbfs,
            rms_dbfs=amplitude_db(rms),
            dc_percent_fs=None if silent else 100.0 * self._sum / n,
            overload_runs=self._counter.runs,
            verdict=self._input_verdict(peak_dbfs),
        )

    def _input_verdict(self, peak_dbfs: float | None) -> InputVerdict:
        if peak_dbfs is None or peak_dbfs < SILENT_DBFS:
            return "silent"
        runs = sum(runs for runs, _ in self._verdicts) if self._verdicts else self._counter.runs
        if runs > 0:
            return "overloaded"
        levels = [level for _, level in self._verdicts if level is not None]
        loudest = max(levels) if levels else peak_dbfs
        return "too_quiet" if loudest < TOO_QUIET_DBFS else "good"

    @property
    def in_over(self) -> bool:
        """Whether an over is running at the end of what was pushed."""
        return self._finder.over_start_cell is not None

    def reading(self) -> LiveReading:
        """The last three tenths of a second for the live line and the meters."""
        recent = self._memory.last(round(LIVE_WINDOW_S * self._rate))
        start = self._finder.over_start_cell
        if start is not None and start != self._live_cell:
            self._live_over(start)
        over_s = None if start is None else self.duration_s - self._cell_s(start)
        figures = live_figures(
            recent, self._rate, self._feed, self._live_hiss_fs,
            over_s=over_s, inverse=self._inverse, floor=self._floor,
        )  # fmt: skip
        self._floor = figures.floor
        return LiveReading(
            time_s=self.duration_s,
            state=figures.state,
            level_dbfs=figures.level_dbfs,
            peak_dbfs=figures.peak_dbfs,
            deviation_khz=figures.deviation_khz,
            quieting_db=figures.quieting_db,
            sinad_db=figures.sinad_db,
            overloaded=figures.overloaded,
            over_s=over_s,
            lost_n=self._lost_total_n,
        )

    def _live_over(self, start_cell: int) -> None:
        """Take what the live figures need of an over that has just begun: its hiss, if it began with one."""
        self._live_cell, self._floor = start_cell, None
        if not self._finder.began_in_hiss:
            return
        end_n = self._cell_n(start_cell)
        hiss = self._memory.read(end_n - round(HISS_KEPT_S * self._rate), end_n)
        if len(hiss) < 0.1 * self._rate:
            return
        self._live_hiss_fs = audio_rms(hiss, self._rate)
        feed = self._feed
        if feed is not None:
            tau = USUAL_DEEMPHASIS_US if feed.deemphasis_us is None else feed.deemphasis_us
            self._inverse = receiver_inverse(
                hiss, self._rate, tau, high_hz=AUDIO_HIGH_HZ, if_bandwidth_khz=feed.if_bandwidth_khz
            )

    # -- inside -----------------------------------------------------------------------------------

    def _cell_s(self, cell: int) -> float:
        return cell * CELL_HOPS * HOP_S

    def _cell_n(self, cell: int) -> int:
        return cell * CELL_HOPS * self._plan.hop_n

    def _advance(self) -> list[Over]:
        hop_n, window_n = self._plan.hop_n, self._plan.window_n
        ready = (self._memory.end_n - window_n) // hop_n + 1 - self._frames_done
        quanta = max(ready, 0) // QUANTUM_HOPS
        overs: list[Over] = []
        while quanta > 0:
            hops = min(quanta, QUANTA_AT_ONCE) * QUANTUM_HOPS
            quanta -= hops // QUANTUM_HOPS
            start_n = self._frames_done * hop_n
            frames = band_frames(
                self._memory.read(start_n, start_n + (hops - 1) * hop_n + window_n), self._plan
            )
            self._frames_done += hops
            self._count_input(self._frames_done * hop_n)
            for k in range(0, hops, CELL_HOPS):
                cell = slice(k, k + CELL_HOPS)
                for found in self._finder.push(frames.levels_db[cell], frames.flatness_db[cell]):
                    # No further than the quantum the decision fell in, whatever else is there already.
                    last_hop = (k // QUANTUM_HOPS + 1) * QUANTUM_HOPS - 1
                    overs += self._measure(found, start_n + last_hop * hop_n + window_n)
            self._remember_start()
            self._forget()
        return overs

    def _count_input(self, end_n: int) -> None:
        part = self._memory.read(self._counted_n, end_n)
        if len(part) == 0:
            return
        wide = part.astype(np.float64)
        self._counter.push(wide)
        self._peak = max(self._peak, float(np.max(wide)), -float(np.min(wide)))
        # Added up quantum by quantum, in the same order however many are there at once.
        size_n = quantum_n(self._rate)
        whole = wide[: len(wide) // size_n * size_n].reshape(-1, size_n)
        rest = wide[whole.size :]
        for total, square in zip(np.sum(whole, axis=1), np.einsum("ij,ij->i", whole, whole), strict=True):
            self._sum += float(total)
            self._square_sum += float(square)
        self._sum += float(np.sum(rest))
        self._square_sum += float(np.dot(rest, rest))
        self._counted_n = end_n

    def _remember_start(self) -> None:
        """Place the start of an over that grows long, and keep its hiss, before its audio is let go."""
        cell = self._finder.over_start_cell
        if cell is None or (self._begun is not None and self._begun.cell == cell):
            return
        near_n = self._cell_n(cell) + self._plan.window_n // 2
        if self._memory.end_n - near_n < self._longest_n // 2:
            return
        start_n = self._cell_n(cell)
        if self._finder.over_start_edge != "none":
            start_n = self._refine(near_n, near_n + round(EDGE_SEARCH_S * self._rate))
        end_n = start_n - round(0.02 * self._rate)
        hiss = self._memory.read(end_n - round(HISS_KEPT_S * self._rate), end_n)
        self._begun = _Begun(cell, start_n, hiss if len(hiss) >= 0.1 * self._rate else None)

    def _forget(self) -> None:
        """Drop audio that no over can claim any more; keep a second of it as the sound of no carrier."""
        keep_n = self._cell_n(self._finder.earliest_start_cell) - round((HISS_KEPT_S + 0.3) * self._rate)
        self._memory.forget_before(min(keep_n, self._counted_n))

    def _refine(self, near_n: int, horizon_n: int) -> int:
        half = round(EDGE_SEARCH_S * self._rate)
        low = max(near_n - half, self._memory.start_n)
        part = self._memory.read(low, min(near_n + half, horizon_n))
        return low + change_point(part, self._rate)

    def _measure(self, found: FoundOver, horizon_n: int) -> list[Over]:
        """Measure a found over from the audio before `horizon_n`, a position no block size can move."""
        centre_n = self._plan.window_n // 2
        start_n, end_n = self._cell_n(found.start_cell), self._cell_n(found.end_cell)
        hiss_end_n = start_n
        begun = self._begun if self._begun is not None and self._begun.cell == found.start_cell else None
        if begun is not None:
            start_n = begun.start_n
        elif found.start_edge != "none":
            start_n = self._refine(start_n + centre_n, horizon_n)
            hiss_end_n = start_n - round(0.02 * self._rate)
        end_n = horizon_n if found.end_edge == "none" else self._refine(end_n + centre_n, horizon_n)
        heard_n = max(start_n, end_n - self._longest_n)
        samples = self._memory.look(heard_n, end_n)
        if found.end_edge == "closed":
            samples = samples[: squelch_tail_start(samples, self._rate)]
        elif found.start_edge == found.end_edge == "none":
            samples = samples[: unnoticed_tail_start(samples, self._rate)]
        if len(samples) < MIN_OVER_S * self._rate and horizon_n > 2 * len(samples):
            return []
        if begun is not None and found.start_edge == "hiss":
            hiss = self._hiss = begun.hiss
        else:
            hiss = self._hiss_around(found, hiss_end_n, end_n, horizon_n)
        over = measure_over(
            OverAudio(
                samples=samples, sample_rate_hz=self._rate, start_s=heard_n / self._rate, hiss=hiss,
                lost_n=sum(n for at_n, n in self._lost if start_n <= at_n <= end_n), cut=heard_n > start_n,
            ),
            feed=self._feed, limits=self._limits,
        )  # fmt: skip
        over = replace(over, start_s=start_n / self._rate)
        if self.ceiling_moved and over.limiter.drive_db is not None:
            over = replace(over, notes=(*over.notes, CEILING_MOVED))
        # Asked only where there is a ceiling to lose.
        keeps = self._feed is not None and self._feed.keeps_ceiling
        if keeps and self._moves_ceiling is not None and self._moves_ceiling(over):
            self.forget_ceiling()
        level_dbfs = over.level.active_speech_dbfs
        if level_dbfs is None and len(samples):
            level_dbfs = power_db(float(np.dot(samples, samples)) / len(samples))
        beyond = "beyond_full_scale" in over.conditions
        self._verdicts.append((max(over.overload_runs, int(beyond)), level_dbfs))
        del self._verdicts[:-1000]
        self._lost = [(at_n, n) for at_n, n in self._lost if at_n > end_n]
        self._forget()
        return [over]

    def _hiss_around(
        self, found: FoundOver, before_n: int, after_n: int, horizon_n: int
    ) -> NDArray[np.float32] | None:
        kept_n = round(HISS_KEPT_S * self._rate)
        if found.start_edge == "hiss":
            low = max(before_n - kept_n, self._memory.start_n)
            if found.idle_cell > 0:
                # What was heard before the hiss, a receiver switched off say, is none.
                low = max(low, self._cell_n(found.idle_cell + 1) + self._plan.window_n)
            self._hiss = self._memory.read(low, max(before_n, low))
        elif found.end_edge == "hiss":
            low = after_n + round(0.02 * self._rate)
            self._hiss = self._memory.read(low, min(low + kept_n, horizon_n))
        if self._hiss is not None and len(self._hiss) < 0.1 * self._rate:
            self._hiss = None
        return self._hiss if "hiss" in (found.start_edge, found.end_edge) else None
