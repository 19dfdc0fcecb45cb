"""Why a photo could not be measured, in words: what was found, expected, and what to try."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from spraycheck.errors import InputError, MeasurementError

INTERNAL_HINT = "please report this together with the photo"


@dataclass(frozen=True, kw_only=True)
class ToldError:
    """An error in words.

    Parameters
    ----------
    stage : str
        Where it stopped: ``reading``, one of the stages, or ``internal``.
    code : str
        Its stable word; empty for one that has none.
    message, hint : str
        What was found and expected, and what to try; the hint may be empty.
    of_photo : bool
        The photo was read but could not answer.
    """

    stage: Any
    code: str
    message: str
    hint: str
    of_photo: bool = False


def explain_error(error: Exception) -> ToldError:
    """Say why a photo could not be measured; what is not raised on purpose is ``internal``."""
    if isinstance(error, MeasurementError):
        return ToldError(
            stage=error.stage, code="", message=str(error), hint=error.hint, of_photo=True
        )
    if isinstance(error, InputError):
        return ToldError(stage="reading", code="", message=error.message, hint=error.hint)
    message = str(error) or type(error).__name__
    return ToldError(stage="internal", code="", message=message, hint=INTERNAL_HINT)
