"""What a file of ours is never written over: a recording, a link to nothing, whatever else would be lost."""

import os
import stat
import tomllib
from dataclasses import dataclass

from audiotest.errors import FileError

LONGEST_BYTES = 65536
"""No learned file of ours comes near this length."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnKind:
    """A kind of file that the program writes: what it is called, and how its schema begins in any version."""

    name: str
    schema_family: str

    @property
    def another(self) -> str:
        """What to do about a name that is refused."""
        return f"name another file to write the {self.name} to"


def refuse_to_replace(
    path: str | os.PathLike[str], kind: OwnKind, recording: str | os.PathLike[str] | None = None
) -> None:
    """Refuse a name that such a file must not be written to: anything there that is not one already.

    Parameters
    ----------
    path : str or path
        Where the file is to be written. A new name, an empty file and a file of the kind are right, and links
        to them.
    kind : OwnKind
        What is to be written.
    recording : str or path or None
        The recording it is learned from.

    Raises
    ------
    FileError
        When `path` is the recording itself, by whatever name, or something else that would be lost.
    """
    name = os.fspath(path)
    if name in ("", "-"):
        raise FileError(f"{name!r} is no name of a file", f"name a file to write the {kind.name} to")
    try:
        status = os.stat(name)
    except FileNotFoundError:
        if os.path.islink(name):
            raise FileError(f"{name}: is a link to a file that is not there", kind.another) from None
        return
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileError(f"{name}: cannot be written ({reason})", kind.another) from error
    if not stat.S_ISREG(status.st_mode):
        raise FileError(f"{name}: is not an ordinary file", f"name a file to write the {kind.name} to")
    if recording is not None and os.path.exists(recording) and os.path.samefile(name, recording):
        raise FileError(f"{name}: is the recording to learn from", kind.another)
    if not _replaceable(name, kind):
        article = "an" if kind.name[0] in "aeiou" else "a"
        raise FileError(f"{name}: is there already and is not {article} {kind.name} file", kind.another)


def _replaceable(name: str, kind: OwnKind) -> bool:
    """Whether nothing is lost in its place: a file of the kind, of any version, or an empty one."""
    try:
        with open(name, "rb") as file:
            text = file.read(LONGEST_BYTES + 1)
        if not text:
            return True
        if len(text) > LONGEST_BYTES:
            return False
        schema = tomllib.loads(text.decode("utf-8-sig")).get("schema")
    except OSError as error:
        raise FileError(
            f"{name}: is there already and cannot be read ({error.strerror or error})", kind.another
        ) from error
    except (ValueError, RecursionError):
        return False
    return isinstance(schema, str) and schema.startswith(kind.schema_family)
