"""Gathers vetted speech for training and judging the drive estimator: one FLAC per talker and `index.json`.

Natural speech comes whole from four freely licensed packages (Debian ``asterisk-core-sounds-it-g722`` and
``-ru-g722``, CC-BY-3.0, recorded by Carlo Flora and provided by Maxim Topal; Debian
``pocketsphinx-testdata``, BSD-2-Clause, public-domain readings; npm ``nodejs-whisper``, public-domain
address; PyPI ``auditok`` 0.2.0, MIT). Synthesised talkers (espeak-ng, flite, festival with the festvox
voices of Debian) read `texts.py`. Needs ``apt-get``, ``npm``, ``pip``, ``ffmpeg``, ``espeak-ng``, ``flite``
and ``text2wave`` on the path; the corpus stays outside the repository.

Vetting: crest (99.9th percentile over RMS of active frames, after 530 us pre-emphasis from 200 Hz up) of at
least 12.5 dB, so that no source compressed beforehand passes for a driven limiter; no runs of equal extreme
samples; pauses at least 25 dB under speech. What fails stays in the index as ``split: "rejected"``.
"""

import argparse
import json
import subprocess
import tarfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import scipy.signal
import soundfile as sf
import soxr
from numpy.typing import NDArray

from tests.benchmarks.accuracy.texts import TEXTS

RATE_HZ = 16000
CREST_FLOOR_DB = 12.5
PAUSE_FLOOR_DB = 25.0
LONGEST_S = 420.0
ESPEAK_TALKERS = 48
DEBIAN = ("asterisk-core-sounds-it-g722", "asterisk-core-sounds-ru-g722", "pocketsphinx-testdata")
FESTIVAL = {
    # voice: language, encoding, group (a talker who also speaks through flite belongs to flite's group)
    "ked_diphone": ("en", "latin-1", "festival"),
    "kal_diphone": ("en", "latin-1", "flite"),
    "cmu_us_slt_arctic_hts": ("en", "latin-1", "flite"),
    "czech_dita": ("cs", "iso-8859-2", "festival"),
    "czech_machac": ("cs", "iso-8859-2", "festival"),
    "czech_krb": ("cs", "iso-8859-2", "festival"),
    "czech_ph": ("cs", "iso-8859-2", "festival"),
    "lp_diphone": ("it", "latin-1", "festival"),
    "pc_diphone": ("it", "latin-1", "festival"),
    "suo_fi_lj_diphone": ("fi", "latin-1", "festival"),
    "hy_fi_mv_diphone": ("fi", "latin-1", "festival"),
    "upc_ca_ona_hts": ("ca", "latin-1", "festival-parametric"),
    "msu_ru_nsh_clunits": ("ru", "utf-8", "festival-units"),
}
ESPEAK_LANGUAGES = ("en-gb", "en-us", "de", "it", "es", "fr-fr", "pl", "ru", "cs", "fi", "en-gb-scotland")
ESPEAK_VARIANTS = (
    "m1", "m2", "m3", "m4", "m5", "m6", "m7", "m8", "f1", "f2", "f3", "f4", "f5", "klatt", "klatt2",
    "klatt3", "klatt4", "klatt6", "adam", "anika", "aunty", "belinda", "benjamin", "boris", "caleb",
    "david", "ed", "gene", "grandma", "grandpa", "iven", "iven3", "john", "linda", "marcelo", "max",
    "michael", "norbert", "pablo", "paul", "quincy", "rob", "robert", "steph", "steph3", "travis", "victor",
    "zac",
)  # fmt: skip
SPLITS = {
    "nat_ru_female": "test",
    "nat_de_male": "test",
    "nat_en_reader": "tune",
    "nat_en_address": "tune",
    "nat_ar_male": "tune",
}
# Festival's three kinds of voice (diphones, unit selection, parametric) share no signal generation.
GROUP_SPLITS = {
    "flite": "test",
    "festival": "train",
    "festival-units": "tune",
    "festival-parametric": "tune",
    "espeak-ng": "train",
    "natural": "train",
}

Samples = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Talker:
    """One talker of the corpus; a `group` (an engine, or one natural talker) never straddles a split."""

    id: str
    file: str
    natural: bool
    engine: str
    group: str
    language: str
    minutes: float
    crest_db: float
    pause_db: float
    overload_runs: int
    split: str


def preemphasised(x: Samples, rate_hz: int) -> Samples:
    """Speech as a transmitter's limiter would see it: 200 Hz high-pass, 530 us pre-emphasis, shape (n,)."""
    high = scipy.signal.sosfilt(scipy.signal.butter(2, 200, "highpass", fs=rate_hz, output="sos"), x)
    slope = np.diff(high, prepend=high[:1]) * rate_hz * 530e-6
    low = scipy.signal.butter(4, 3400, fs=rate_hz, output="sos")
    return np.asarray(scipy.signal.sosfilt(low, high + slope))


def frame_rms(x: Samples, rate_hz: int) -> Samples:
    """RMS of each 20 ms frame, floored far under any speech."""
    n = rate_hz // 50
    frames = x[: len(x) // n * n].reshape(-1, n)
    return np.asarray(np.sqrt(np.mean(frames**2, axis=1)) + 1e-9)


def crest_db(x: Samples, rate_hz: int) -> float:
    """Q99.9 over RMS of the active 20 ms frames (within 25 dB of the 98th percentile), in dB."""
    v = preemphasised(x, rate_hz)
    rms = frame_rms(v, rate_hz)
    n = rate_hz // 50
    active = v[: len(rms) * n].reshape(-1, n)[rms >= np.percentile(rms, 98) * 10 ** (-25 / 20)].ravel()
    return float(20 * np.log10(np.quantile(np.abs(active), 0.999) / np.sqrt(np.mean(active**2))))


def pause_db(x: Samples, rate_hz: int) -> float:
    """How far the quietest twentieth of the frames lies under the loud ones, in dB."""
    rms = frame_rms(x, rate_hz)
    return float(20 * np.log10(np.percentile(rms, 98) / np.percentile(rms, 5)))


def overload_runs(x: Samples) -> int:
    """Runs of three or more equal samples at the highest or the lowest code."""
    runs = 0
    for edge in (np.max(x), np.min(x)):
        at = np.concatenate([[0], (x == edge).astype(np.int8), [0]])
        step = np.flatnonzero(np.diff(at))
        runs += int(np.sum(step[1::2] - step[::2] >= 3))
    return runs


def trimmed(x: Samples, rate_hz: int, keep_s: float = 0.12) -> Samples:
    """Without the silence at both ends but for `keep_s`."""
    rms = frame_rms(x, rate_hz)
    loud = np.flatnonzero(rms > np.max(rms) * 10 ** (-40 / 20))
    n, keep = rate_hz // 50, int(keep_s * rate_hz)
    return x[max(0, loud[0] * n - keep) : (loud[-1] + 1) * n + keep]


def read_any(path: Path) -> Samples:
    """Mono samples at 16 kHz of a WAV, a headerless 16-bit file at 16 kHz or a G.722 file."""
    if path.suffix == ".raw":
        return np.fromfile(path, "<i2").astype(float) / 32768
    if path.suffix == ".g722":
        out = subprocess.run(
            ["ffmpeg", "-v", "error", "-f", "g722", "-i", str(path), "-f", "s16le", "-ac", "1", "-"],
            check=True, capture_output=True,
        )  # fmt: skip
        return np.frombuffer(out.stdout, "<i2").astype(float) / 32768
    x, rate_hz = sf.read(path, dtype="float64", always_2d=True)
    return np.asarray(soxr.resample(x[:, 0], rate_hz, RATE_HZ, quality="VHQ"))


def joined(paths: list[Path], seed: int) -> Samples:
    """Recordings one after the other in a shuffled order, trimmed, with short pauses, `LONGEST_S` at most."""
    rng = np.random.default_rng(seed)
    parts: list[Samples] = []
    total = 0
    for i in rng.permutation(len(paths)):
        x = read_any(paths[i])
        if len(x) < 0.4 * RATE_HZ or np.max(np.abs(x)) < 0.02:
            continue
        part = trimmed(x, RATE_HZ, keep_s=float(rng.uniform(0.08, 0.2)))
        parts.append(part)
        total += len(part)
        if total > LONGEST_S * RATE_HZ:
            break
    return np.concatenate(parts)


def fetch(cache: Path) -> None:
    """Have the packages of natural speech below `cache`, through their registries' ordinary clients."""
    cache.mkdir(parents=True, exist_ok=True)
    for package in DEBIAN:
        if not list(cache.glob(f"{package}_*.deb")):
            subprocess.run(["apt-get", "download", "-q", package], cwd=cache, check=True)
        subprocess.run(["dpkg-deb", "-x", str(next(cache.glob(f"{package}_*.deb"))), str(cache)], check=True)
    if not list(cache.glob("nodejs-whisper-*.tgz")):
        subprocess.run(["npm", "pack", "--silent", "nodejs-whisper@0.3.1"], cwd=cache, check=True)
    if not list(cache.glob("auditok-*.tar.gz")):
        download = ["pip", "download", "-q", "--no-deps", "--no-binary", ":all:", "auditok==0.2.0"]
        subprocess.run(download, cwd=cache, check=True)
    for archive in [*cache.glob("nodejs-whisper-*.tgz"), *cache.glob("auditok-*.tar.gz")]:
        with tarfile.open(archive) as tar:
            tar.extractall(cache, filter="data")


def natural(cache: Path) -> Iterator[tuple[str, str, Samples]]:
    """Talker, language and speech of every natural source."""
    prompts = cache / "usr/share/asterisk/sounds"
    for talker, language, folder in (
        ("nat_it_male", "it", "it_IT_m_Carlo"),
        ("nat_ru_female", "ru", "ru_RU_f_IvrvoiceRU"),
    ):
        files = sorted(p for p in (prompts / folder).rglob("*.g722") if p.parent.name != "silence")
        sentences = [p for p in files if p.parent == prompts / folder or p.parent.name == "dictate"]
        yield talker, language, joined(sentences, 1)
    data = cache / "usr/share/pocketsphinx/test/data"
    yield "nat_en_reader", "en", joined(sorted((data / "librivox").glob("*.wav")), 1)
    yield "nat_en_cards", "en", joined(sorted((data / "cards").glob("*.wav")), 1)
    yield "nat_en_commands", "en", joined([data / "goforward.raw", data / "something.raw"], 1)
    yield "nat_en_numbers", "en", joined([data / "numbers.raw"], 1)
    yield "nat_en_address", "en", joined([next(cache.rglob("jfk.wav"))], 1)
    yield "nat_ar_male", "ar", joined([next(cache.rglob("1to6arabic*.wav"))], 1)
    yield "nat_de_male", "de", joined([next(cache.rglob("was_der_mensch*.wav"))], 1)


def spoken(command: list[str], text: str, encoding: str, wav: Path) -> Samples:
    """What a speech engine makes of `text` on standard input."""
    subprocess.run(command, input=text.encode(encoding, "replace"), check=True, capture_output=True)
    return trimmed(read_any(wav), RATE_HZ)


def some_text(language: str, rng: np.random.Generator, sentences: int) -> str:
    """Sentences of a language in a drawn order."""
    pool = TEXTS[language.split("-")[0]]
    order = [int(i) for _ in range(1 + sentences // len(pool)) for i in rng.permutation(len(pool))]
    return "\n".join(pool[i] for i in order[:sentences])


def synthesised(folder: Path) -> Iterator[tuple[str, str, str, str, Samples]]:
    """Talker, engine, group, language and speech of every synthesised talker."""
    rng = np.random.default_rng(7)
    wav = folder / "spoken.wav"
    variants = rng.permutation(list(ESPEAK_VARIANTS))[:ESPEAK_TALKERS]
    for i, variant in enumerate(variants):
        language = ESPEAK_LANGUAGES[i % len(ESPEAK_LANGUAGES)]
        pitch, speed = int(rng.integers(20, 80)), int(rng.integers(120, 190))
        text = some_text(language, rng, 14)
        command = ["espeak-ng", "-v", f"{language}+{variant}", "-p", str(pitch), "-s", str(speed)]
        speech = spoken([*command, "--stdin", "-w", str(wav)], text, "utf-8", wav)
        yield f"syn_espeak_{variant}_{language}", "espeak-ng", "espeak-ng", language, speech
    for voice in ("awb", "rms", "slt", "kal16"):
        text = folder / "spoken.txt"
        text.write_text(some_text("en", rng, 18))
        speech = spoken(["flite", "-voice", voice, "-f", str(text), "-o", str(wav)], "", "utf-8", wav)
        yield f"syn_flite_{voice}", "flite", "flite", "en", speech
    for voice, (language, encoding, group) in FESTIVAL.items():
        command = ["text2wave", "-o", str(wav), "-eval", f"(voice_{voice})"]
        speech = spoken(command, some_text(language, rng, 16), encoding, wav)
        yield f"syn_festival_{voice}", "festival", group, language, speech


def vetted(talker: str, engine: str, group: str, language: str, x: Samples, folder: Path) -> Talker:
    """Measure a talker, write the FLAC (peak at 0.9) and return the index entry."""
    figures = {"crest_db": crest_db(x, RATE_HZ), "pause_db": pause_db(x, RATE_HZ)}
    runs = overload_runs(x)
    good = figures["crest_db"] >= CREST_FLOOR_DB and figures["pause_db"] >= PAUSE_FLOOR_DB and runs == 0
    split = SPLITS.get(talker, GROUP_SPLITS[group]) if good else "rejected"
    sf.write(folder / f"{talker}.flac", 0.9 * x / np.max(np.abs(x)), RATE_HZ, subtype="PCM_24")
    return Talker(
        id=talker, file=f"{talker}.flac", natural=engine == "natural", engine=engine,
        group=talker if engine == "natural" else group, language=language,
        minutes=round(len(x) / RATE_HZ / 60, 3), overload_runs=runs, split=split,
        **{key: round(value, 2) for key, value in figures.items()},
    )  # fmt: skip


def main() -> None:
    """Fill OUT_DIR with one FLAC per talker and `index.json`."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("out_dir", type=Path)
    parser.add_argument("--cache", type=Path, default=None, help="where the packages are kept")
    options = parser.parse_args()
    folder: Path = options.out_dir
    folder.mkdir(parents=True, exist_ok=True)
    cache = options.cache or folder / "packages"
    fetch(cache)
    talkers = [
        vetted(name, "natural", "natural", language, x, folder) for name, language, x in natural(cache)
    ]
    talkers += [vetted(*made, folder) for made in synthesised(folder)]
    (folder / "index.json").write_text(json.dumps([asdict(t) for t in talkers], indent=1) + "\n")
    for t in talkers:
        figures = f"{t.minutes:6.2f} min  crest {t.crest_db:5.1f} dB  pause {t.pause_db:5.1f} dB"
        print(f"{t.split:9s} {t.id:34s} {figures}")


if __name__ == "__main__":
    main()
