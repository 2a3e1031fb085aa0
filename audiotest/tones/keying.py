"""When the set has to be keyed and let go: one key-down for many steps, no longer than set and load bear."""

from dataclasses import dataclass, field

from audiotest.tones.steps import Step

LONGEST_KEYED_S = 60.0
"""Then the set is let go to cool; hobby sets are not built for long carriers (common practice, no source)."""
LET_GO = "Let the set go: unkey it now."


@dataclass(slots=True)
class Keying:
    """Remembers since when the set has been keyed, in seconds of any clock."""

    since_s: float | None = field(default=None)

    def unkey_words(self, step: Step, now_s: float) -> str | None:
        """What to do before a step if the set must not stay keyed; None when it may."""
        if self.since_s is None:
            return None
        keyed, held_s = step.keyed and not step.speak, now_s - self.since_s
        if keyed and held_s <= LONGEST_KEYED_S:
            return None
        rest = f" and let set and load cool for {held_s:.0f} s" if keyed else ""
        return f"Unkey the set{rest}"

    def key_words(self, step: Step) -> str | None:
        """What to do before a step that needs the set keyed; None when it is, or need not be."""
        return "Key the set" if step.keyed and not step.speak and self.since_s is None else None
