"""The handbook of the measurements: arrays in, numbers and frozen records out; no files, devices or state.

This page names what there is. A chapter is read with ``python -m pydoc audiotest.measure.tone``; formulas,
sources and errors of the figures together are in ``docs/how-it-measures.md``.

What holds everywhere
---------------------
Sound is one channel, an array of shape (n,), full scale 1.0 at the sound card, or in kHz of deviation where
that is said; I/Q is complex, of the same shape. Units stand in the names: ``_hz _khz _s _db _dbfs _fs``;
``_n`` counts samples. dBFS is RMS re 1.0: a full-scale sine has -3.01. None is "not measured", never 0 and
never NaN; what forbids a measurement altogether raises an `audiotest.errors.MeasureError` with a remedy.

>>> import numpy as np
>>> from audiotest.measure.tone import measure_tone
>>> n = np.arange(48000)
>>> tone = measure_tone(0.5 * np.sin(2 * np.pi * 1000 / 48000 * n) + 0.005 * (-1.0) ** (n // 80), 48000)
>>> round(tone.frequency_hz), round(tone.level_dbfs, 2)
(1000, -9.03)

One over
--------
over.measure_over                 every figure of an over at once; what follows is what it is made of
edges.change_point                where the carrier came up or dropped; a squelch's tail
bands.band_frames                 band levels ten milliseconds at a time, for whoever looks for overs
beat.quantum_n                    where the frames of a stream stand, and the decisions made on them
activity.find_activity            when somebody speaks
speechlike.speech_cues            whether it is speech at all
bare.bare_carrier                 the carrier without speech
views.two_views                   an over at its own rate and at a low one
conditions.speech_conditions      what stands in the way of a judgement, and its cure
threshold.clicks_hide_peak        whether a peak may be the clicks of a weak carrier

Level
-----
level.rms_dbfs                    level, peak, offset, and the sound card's own overload
speech_level.active_speech_level  active speech level (ITU-T P.56)
weighting.weight_db               psophometric and other weightings
lean.power_density                Welch's spectrum and its like without the weight of a library
filters.bandpass                  band limits, de-emphasis and its inverse, without delay

Deviation and limiter
---------------------
deviation.measure_swing           peak, 99.9 % and RMS deviation of speech, noise taken out
peakerror.peak_error_db           how far a peak deviation may be off
hiss.receiver_inverse             the receiver's audio filters, told by its hiss and undone
emphasis.estimate_deemphasis_us   de-emphasis of a feed, from its noise
ifband.bandwidth_of_hiss          the receiver's IF filter, from its hiss
narrowlink.ends_at_4_khz          whether a telephone's or a network's narrow link stood in between
heldnoise.held_noise              whether a level control holds the noise down, and whose
limiter.estimate_drive            how hard speech drives the limiter
driveviews.drive_views            the views in which that is looked for
drivefeatures.drive_features      what is counted in them
drivemodel.model_figures          what was learnt of them
knownspeech.measure_known_drive   the same, of a speech whose recording is at hand
alignment.align                   where a recording lies in another
limiting.fit_limiting             onset and knee of a limiter from deviation over level
steppedtone.measure_steps         the same from a recorded staircase of one tone
path.learn_path                   the response behind the limiter, learnt from overdriven tones
pathtones.find_comb_tones         those tones
pathfit.fit_gain                  the response that explains them

Tones
-----
tone.measure_tone                 frequency, level, SINAD and distortion of a steady tone
sinad.read_sinad                  SINAD with its uncertainty, also of a running stream
cycle.measure_cycle               one cycle without noise: both peaks, harmonics; whether it is there
twotone.measure_two_tone          intermodulation
response.judge_response           an audio response against its mask
sensitivity.sinad_crossing        sensitivity and squelch from readings at known levels
carriernull.find_null             the carrier null
arrival.tone_start                when a tone that was sent is heard

Hum and signalling
------------------
hum.measure_hum                   mains hum
lines.low_band                    steady lines below the voice, the ground of hum and sub-audible tones
subaudible.find_subaudible        a sub-audible tone
addedtones.split_beep             what is sent beside the speech, taken out of it
beep.find_end_beep                the end beep
signalling.hear_signalling        everything of the kind at once
digitalcode.find_digital_code     a digital sub-audible code
dtmf.find_dtmf                    dual-tone keys
sequences.find_calls              selective calls, the 1750 Hz burst
toneruns.find_tone_runs           stretches of one tone alone

I/Q
---
iq.measure_fm                     deviation, carrier offset, AM depth without a learned scale
bandwidth.occupied_bandwidth      occupied bandwidth
"""
