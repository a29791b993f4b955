"""What is set aside of a session something was erased in: nothing of what was erased.

Erasing is never taken back, so no late stick may bring the content back into an archive by way of
its copies. Lines that can be read are kept without what was erased, with the questions they pose;
of bytes that cannot be read nobody knows what they hold, so a note alone stands for them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitcore.disk.kept_files import whose
from fitcore.merge.found import FileKind, digest_bytes
from fitcore.record.codec import read_session, write_session
from fitcore.record.session import Seal, Session, erase_entries

if TYPE_CHECKING:
    from collections.abc import Collection

    from fitcore.merge.found import Found
    from fitcore.merge.ledger_lines import LedgerLines

_SEAL, _DIGEST = "\n[seal]\n", 'blake2b = "'


@dataclass(frozen=True, slots=True)
class ToKeep:
    """One file to set aside."""

    found: tuple[Found, ...]
    """The file under each name it was found under; all of one digest."""
    raw: bytes | None
    """None where there is nothing to copy: a link, a device, too big."""
    found_in: frozenset[str]
    """As told to people."""
    is_copied: bool = True
    """Whether its bytes are copied. If not, a note alone stands for it, because something in its
    session was erased; a copy kept earlier goes."""
    instead_of: str = ""
    """Digest of the bytes it stands for without what was erased; their copy and note go."""


def without_erased(copy: ToKeep, ledgers: LedgerLines) -> ToKeep:
    """Return what may be kept of a file, by what all ledgers say was erased."""
    if copy.raw is None:
        return copy
    session = read_session(copy.raw)[0]
    if session is None:
        names = {file.name for file in copy.found if file.kind is FileKind.SESSION}
        names.add(whose(copy.raw).session)
        is_free = not any(ledgers.erased_in(name) for name in names if name)
        return copy if is_free else replace(copy, is_copied=False)
    erased = ledgers.erased_in(session.id)
    if not erased:
        return copy
    raw, before = _written_without(session, erased), digest_bytes(copy.raw)
    if raw == copy.raw:
        return copy
    digest = digest_bytes(raw)
    found = tuple(replace(file, digest=digest) for file in copy.found)
    return ToKeep(found, raw, copy.found_in, instead_of=before)


def _written_without(session: Session, erased: Collection[str]) -> bytes:
    """Write what a file holds but what was erased; its seal is as whole or broken as before.

    Comments go too: who knows what somebody typed there. That only makes the same bytes of more
    files.
    """
    left = replace(session, entries=erase_entries(session.entries, erased))
    text = write_session(left)
    if session.seal is Seal.WHOLE:
        return text.encode()
    lines, _, seal = text.rpartition(_SEAL)
    if session.seal is Seal.MISSING:
        return lines.encode()
    return f'{lines}{_SEAL}{seal.partition(_DIGEST)[0]}{_DIGEST}{"0" * 32}"\n'.encode()
