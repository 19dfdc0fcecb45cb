"""Every exception the package raises on purpose.

The rule: fatal for the photo is an exception, fatal for one hole is NaN and a flag, doubtful is a
flag. Every message says what was found, what was expected and what to try.
"""

from __future__ import annotations


class SprayCheckError(Exception):
    """Base of everything raised on purpose."""


class InputError(SprayCheckError, ValueError):
    """The caller can fix it: unreadable photo, malformed layout, impossible option.

    Parameters
    ----------
    message : str
        What was found and what was expected.
    hint : str
        What to try, where that is not part of the message already.
    """

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message, hint)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        """Say everything in one line."""
        return f"{self.message}; {self.hint}" if self.hint else self.message


class PhotoError(InputError):
    """The file is not a photo that can be read: missing, empty, cut off, too small, too large."""


class LayoutError(InputError):
    """A layout, nozzle or limits file is malformed.

    Parameters
    ----------
    message, hint : str
        As of `InputError`: the first mistake.
    lines : tuple of str
        Every mistake in the file, a line each, where the message does not tell all.
    """

    def __init__(self, message: str, hint: str = "", lines: tuple[str, ...] = ()) -> None:
        super().__init__(message, hint)
        self.args = (message, hint, lines)  # what a worker process sends back
        self.lines = lines or (str(self),)


class MeasurementError(SprayCheckError):
    """The photo was read but cannot answer.

    Parameters
    ----------
    told : str
        Code of an entry in the catalogue of words (`report.words.errors`), whose named fields are
        given beside it; or, where a ``hint`` is given, ready words: what was found and expected.
    stage : str
        The stage that gave up: ``rectification``, ``wetness``, ``centre``, ``segmentation``,
        ``measurement`` or ``assessment``.
    hint : str, optional
        What to try, in ready words.
    **fields
        Numbers and names that the entry's words need.
    """

    def __init__(self, told: str, *, stage: str, hint: str | None = None, **fields: object) -> None:
        super().__init__(told)
        self.told = told
        self.stage = stage
        self.fields = fields
        self._hint = hint

    @property
    def code(self) -> str:
        """The stable word of the error; empty for one in ready words."""
        return self.told if self._hint is None else ""

    @property
    def hint(self) -> str:
        """What to try."""
        return self._words()[1] if self._hint is None else self._hint

    def __str__(self) -> str:
        """Say what was found and expected."""
        return self._words()[0] if self._hint is None else self.told

    def _words(self) -> tuple[str, str]:
        # The one look upward: words are asked of the catalogue when somebody reads the error.
        from spraycheck.report.words.errors import words_of

        return words_of(self.told, self.fields)

    def __reduce__(self) -> tuple[object, ...]:
        """Keep everything when a worker process sends the error back."""
        return (_rebuild, (type(self), self.told, self.stage, self._hint, self.fields))


def _rebuild(
    kind: type[MeasurementError],
    told: str,
    stage: str,
    hint: str | None,
    fields: dict[str, object],
) -> MeasurementError:
    return kind(told, stage=stage, hint=hint, **fields)


class PhotoQualityError(MeasurementError):
    """The photo is too dark, too bright or too blurred to judge."""


class CardNotFoundError(MeasurementError):
    """No sheet or card could be found in the photo."""


class SprayNotFoundError(MeasurementError):
    """A card was found, but nothing on it looks like a spray pattern."""


class CentreNotFoundError(MeasurementError):
    """There is spray, but the nozzle centre cannot be located."""


class ArchiveError(SprayCheckError):
    """An archive of results is damaged or of an unknown version."""
