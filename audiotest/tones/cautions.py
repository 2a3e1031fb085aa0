"""What has to be said before a tone leaves the sound card towards a transmitter."""

HEADLINE = "This will be transmitted as soon as the set is keyed."

LICENCE = "Transmit only what your licence and the local rules allow, and no tone on a channel in use."
DUMMY_LOAD = "Put the set on a dummy load that bears its power."
HEARING = "Take headphones off or turn them right down: tones and open hiss are loud."
HEAT = "Key down only while asked to, {seconds:.0f} s at most, then let set and load cool for as long."
ISOLATION = "Feed the socket through a transformer or a DC-blocked attenuator; some sockets carry a voltage."
GENERATOR = "Never key a transmitter into a signal generator or a sound card."


def before_transmission(longest_s: float | None) -> tuple[str, ...]:
    """Cautions for a signal into the microphone socket of a transmitter that is keyed for `longest_s`.

    None where it is not to be keyed at all: then nothing gets hot.
    """
    heat = () if longest_s is None else (HEAT.format(seconds=longest_s),)
    return (HEADLINE, DUMMY_LOAD, LICENCE, ISOLATION, *heat, HEARING)


def before_reception() -> tuple[str, ...]:
    """Cautions for a receiver on a signal generator."""
    return (GENERATOR, "Take the microphone off the set, so that nothing can key it.", HEARING)
