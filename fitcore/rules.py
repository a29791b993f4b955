"""All the trade's data a session is judged by, in one bundle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.profile_models import RepeatRule

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.certainty.certainty_model import CertaintyRules
    from fitcore.moment.swelling_model import SwellingModel
    from fitcore.moment.time_rules import TimeRules
    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.profile_models import Protocol, Ranges
    from fitcore.record.session import Session
    from fitcore.safety.linked_model import LinkedRules
    from fitcore.safety.screening_book import ScreeningBook


@dataclass(frozen=True, slots=True)
class Rules:
    """Ranges, thresholds, protocols, the swelling model, screening and certainty of one run."""

    ranges: Ranges
    time: TimeRules
    protocols: Mapping[str, Protocol]
    swelling: SwellingModel
    screening: ScreeningBook
    standards: tuple[PressureStandard, ...]
    """Standards of pressure classes."""
    certainty: CertaintyRules
    """Errors, limits and words of the certainty of a size."""
    linked: LinkedRules
    """What of another session of the same person counts."""
    favourites: frozenset[str] = frozenset()
    """Ids of the charts the service uses most."""
    own_charts: frozenset[str] = frozenset()
    """Ids of the charts that are the service's own, not shipped."""

    def protocol_of(self, session: Session) -> Protocol | None:
        """Return the protocol a session follows; None where it names none known here."""
        return self.protocols.get(session.text("protocol"))

    def repeat_of(self, session: Session) -> RepeatRule:
        """Return the rule on repeats for a session; the usual one where it follows no protocol."""
        protocol = self.protocol_of(session)
        return protocol.repeat if protocol is not None else RepeatRule()
