"""The one family of user errors: each says what, which one, and what to do, and carries an exit code."""

from enum import Enum, auto
from pathlib import Path

EXIT_DONE = 0
EXIT_NEGATIVE = 1
EXIT_USAGE = 2
EXIT_DATA = 3
EXIT_STORE = 4


class StraycellError(Exception):
    """Something the person can act on. `what` names the thing at fault, `remedy` says what to do.

    `of` is the thing by a name that a caller may replace by its own: `fact` says what is wrong without it.
    `besides` is a second fault of the same thing, where several are reported at once.
    """

    exit_code = EXIT_DATA

    def __init__(self, what: str, remedy: str = "", *, of: str = "", besides: str = "") -> None:
        self.fact = what
        self.what = f"{of}: {what}" if of else what
        super().__init__(self.what)
        self.besides = besides
        self.remedy = remedy

    def lines(self) -> list[str]:
        """The one to three lines for stderr, without line breaks inside."""
        return [" ".join(part.split()) for part in (self.what, self.besides, self.remedy) if part]


class NegativeAnswer(StraycellError):
    """The question was understood and the answer is no."""

    exit_code = EXIT_NEGATIVE


class UsageFault(StraycellError):
    """The command line does not fit together."""

    exit_code = EXIT_USAGE


class BadData(StraycellError):
    """A value or a file that cannot be taken."""

    exit_code = EXIT_DATA


class Cure(Enum):
    """What would help against a fault of a store file."""

    OTHER_FILE = auto()
    RESTORE = auto()
    UPGRADE = auto()


class StoreFault(StraycellError):
    """The store is missing, locked, corrupt or from a newer version.

    With `file` the message begins with its name; `cure` is what the remedy says, for a caller who can say it better.
    """

    exit_code = EXIT_STORE

    def __init__(
        self, fact: str, remedy: str = "", *, file: Path | None = None, cure: Cure | None = None
    ) -> None:
        super().__init__(fact if file is None else f"store {file} {fact}", remedy)
        self.fact, self.file, self.cure = fact, file, cure
