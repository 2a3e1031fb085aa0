"""The errors a user can cause or meet; each message says what, why and what to do."""


class AudiotestError(Exception):
    """Something that cannot be carried out as asked.

    Parameters
    ----------
    what : str
        One line: the thing (file, option, device) and the reason.
    remedy : str
        What the user can do about it, as a sentence.
    """

    def __init__(self, what: str, remedy: str = "") -> None:
        super().__init__(f"{what}: {remedy}" if remedy else what)
        self.what = what
        self.remedy = remedy


class FileError(AudiotestError):
    """A recording, feed file or output file cannot be used."""


class DeviceError(AudiotestError):
    """A sound-card input or output cannot be used."""


class RequestError(AudiotestError):
    """An option or a combination of options makes no sense."""


class MeasureError(AudiotestError):
    """What was asked to be measured is not in the signal."""
