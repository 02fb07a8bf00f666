"""The errors that sensorswim raises on purpose.

::

    SensorswimError            one line for the user: what, where, how to mend it
    ├── InputError             a session folder or a log that can't be used
    │   ├── SessionError       session.toml itself
    │   ├── LogError           one sensor's log
    │   ├── SettingsError      sensorswim.toml
    │   └── PacketError        bytes that a sensor sent and that can't be read
    ├── ArchiveError           the archive of sessions can't be reached or used
    └── OutputError            a result that can't be written where it was asked for

Anything else that escapes is a defect of the program, never folded into these.
"""

from __future__ import annotations


class SensorswimError(Exception):
    """A user's matter that ends the run; its text is one clear line.

    Parameters
    ----------
    what : str
        What is wrong, in plain words.
    where : str, optional
        The file, table or key where it is.
    mend : str, optional
        What the user can do about it.
    """

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        self.what, self.where, self.mend = what, where, mend
        text = f"{where}: {what}" if where else what
        text = f"{text}; {mend}" if mend else text
        super().__init__(" ".join(text.split()))


class InputError(SensorswimError):
    """The session folder can't be used as it is."""


class SessionError(InputError):
    """The session.toml is missing, unreadable or contradicts itself."""


class LogError(InputError):
    """One sensor's log can't be read."""


class SettingsError(InputError):
    """The sensorswim.toml can't be read or holds a value that isn't allowed."""


class PacketError(InputError):
    """Bytes from a sensor that are no packet; `reason` is one word for counting."""

    def __init__(self, reason: str, what: str, *, where: str = "packet", mend: str = "") -> None:
        self.reason = reason
        super().__init__(what, where=where, mend=mend)


class OutputError(SensorswimError):
    """The result can't be written where it was asked for."""


class ArchiveError(SensorswimError):
    """The archive of sessions can't be reached, or what is asked of it isn't there."""
