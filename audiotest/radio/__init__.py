"""Simulated transmitter, channel and receiver: an FM link whose true drive and deviation are known.

Speech over the air: `link.simulate`, `link.simulate_session`; a generator's tone: `link.laboratory_tone`.

For the bench, the same radio with every true figure at hand:

``iq``, before any discriminator
    ``IqReceiver(sample_rate_hz=96000, offset_hz, cnr_db, noise_band_hz, carrier_fs, gain_error_db,
    phase_error_deg, dc_i_fs, dc_q_fs, bits)``;
    ``fm_tone_iq(tone_hz, deviation_khz, seconds, receiver, *, seed, negative_khz=None)``,
    ``am_tone_iq(tone_hz, depth, seconds, receiver, *, seed, negative_depth=None)``,
    ``fm_iq(deviation_khz, rate_hz, receiver, *, seed)``, ``am_iq(modulation, rate_hz, receiver, *, seed)``,
    ``over_iq(source, source_rate_hz, transmitter, receiver, timing, *, seed)``: each an
    ``IqSimulation(iq, sample_rate_hz, truth)`` with ``.stereo()``, shape (n, 2), I left and Q right;
    ``beat_note(iq, sample_rate_hz, pitch_hz)``: the audio of a receiver for CW.
``bench``, a signal generator and a receiver under test
    ``ReceiverUnderTest(receiver, noise_figure_db, squelch_open_dbm, squelch_close_dbm)``;
    ``receive_tone(level_dbm, tone_hz, deviation_khz, seconds, unit, card=None, *, seed=0)`` and
    ``receive_levels(levels_dbm, step_s, tone_hz, deviation_khz, unit, card=None, *, seed=0)``: each a
    ``BenchAudio(audio, sample_rate_hz, steps)``; a level of None is a generator switched off;
    ``true_levels(unit, *, tone_hz=1000, deviation_khz=1.5)``: the levels of 12 and 20 dB SINAD and of 20 dB
    quieting in dBm; ``cnr_of_level(level_dbm, unit)`` and ``level_of_cnr(cnr_db, unit)``.
``micsocket``, a transmitter under test
    ``SetUnderTest(transmitter, onset_mv=5.0, noise_mv=0.0, offset_hz=0.0)``;
    ``sines_mv(((tone_hz, rms_mv), ...), seconds)`` or any test signal in millivolts at the socket;
    ``transmit(signal_mv, rate_hz, unit, *, seed=0)``: its `transmitter.Modulation`;
    ``monitor(sent, unit, receiver, card=None, *, seed=0)``: the audio of a receiver; ``fm_iq`` takes
    ``sent.deviation_khz`` and ``sent.rate_hz``, with ``offset_hz=unit.offset_hz`` in its receiver;
    ``socket_truth(unit)`` (onset, slope, 1 dB compression, ceiling), ``steady_tone(unit, tone_hz, rms_mv, *,
    through=None)`` (peaks, fundamental, harmonics), ``steady(unit, tones)`` (every line, so two-tone
    products), ``response_db(unit, tone_hz)``, ``slope_error_db(unit, tone_hz)`` and
    ``residual_khz(unit, low_hz, high_hz)``: what is true of it.
"""
