"""What a file of ours is never written over: a recording, a link to nothing, whatever else would be lost."""

import os
import stat
import tomllib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from audiotest.errors import FileError

KEPT, LONGEST_KEPT = ".before", 60
"""What is added to the name of a file that another takes the place of, and how much of the name stays."""
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


def write_own(
    path: str | os.PathLike[str], content: bytes, kind: OwnKind, *, make_folder: bool = False
) -> Path | None:
    """Write a file of ours, whole or not at all; one of the kind that is there is kept beside it.

    Returns
    -------
    Path or None
        Where that is kept: the same name with ``.before`` added, which holds the last one only. None when
        there was none, or an empty or equal one.

    Raises
    ------
    FileError
        As `refuse_to_replace`, also for the name with ``.before``, or one of the two cannot be written.
    """
    refuse_to_replace(path, kind)
    target = Path(os.path.realpath(path))
    # A name as long as the file system allows leaves no room for more.
    part = target.with_name(f".{target.name[:40]}.{os.getpid()}.part")
    kept: Path | None = None
    try:
        if make_folder:
            target.parent.mkdir(parents=True, exist_ok=True)
        old = target.read_bytes() if target.exists() else b""
        if old and old != content:
            kept = target.with_name(f"{target.name[:LONGEST_KEPT]}{KEPT}")
            refuse_to_replace(kept, kind)
            part.write_bytes(old)
            part.replace(kept)
        part.write_bytes(content)
        part.replace(target)
    except OSError as error:
        # On a medium that cannot be written to even this fails, with a name that nobody knows.
        with suppress(OSError):
            part.unlink()
        raise FileError(
            f"{path}: cannot be written: {error.strerror or error}", "name a place you may write to"
        ) from error
    return kept


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
