"""Whether a sealed record is as it was sealed, whose seal it is, and whether it says what it rests on.

    python -m lots.pdf.check FILE [--trust CERT.pem …] [--trust-stamp CERT.pem …] [--json]

Exit code 0: intact, and the seal is one that is trusted.  1: altered, or not a sealed record at all.
3: intact, but whose seal it is could not be established.  Nothing is fetched from any network.

    file ──▶ seal ──▶ attachments ──▶ pages' own text ──▶ verdicts computed again ──▶ whose seal

Altered is also a file sealed by whoever had the key whose pages do not say what is attached, or whose
verdicts do not follow from the readings and limits attached.
"""

import argparse
import hashlib
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from io import BytesIO
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes

from lots.core.limits import RULES
from lots.core.recomputed import Recomputed, recomputed
from lots.core.record import FORM, LotRecord, NotARecord
from lots.pdf.checked_seal import Altered, SealFound, checked_seal, sealed
from lots.pdf.stamp import StampFound, vouches

INTACT, ALTERED, UNKNOWN = "intact", "altered", "unknown"
EXIT = {INTACT: 0, ALTERED: 1, UNKNOWN: 3}
MANY = 8  # differences that are named one by one


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What the check found: `lines` for a person, the rest for a program.

    `outcome` is "intact", "altered" or "unknown" (intact, whose it is not established);
    `fingerprint` is the sealing certificate's SHA-256, `sealed_at` the moment that the seal states,
    in ISO 8601; both are empty where altered.  `verdicts` counts those computed again; `book_line` and
    `book_digest` are the book's last line that the record rests on."""

    outcome: str
    lines: tuple[str, ...]
    fingerprint: str = ""
    signer: str = ""
    sealed_at: str = ""
    lot: str = ""
    revision: int = 0
    verdicts: int = 0
    book_line: int = 0
    book_digest: str = ""
    stamp: StampFound | None = None

    @property
    def exit_code(self) -> int:
        return EXIT[self.outcome]

    def as_json(self) -> str:
        """The result for a program."""
        stamp = self.stamp and asdict(self.stamp) | {"moment": self.stamp.moment.isoformat()}
        told = asdict(self) | {"stamp": stamp, "exit_code": self.exit_code}
        return json.dumps(told, ensure_ascii=False)


@dataclass(frozen=True, slots=True)
class Held:
    """What the record itself gave: the value, what was computed again, and words about both."""

    record: LotRecord
    again: Recomputed
    whole_lines: bool
    table: bool

    def words(self) -> Iterator[str]:
        """What was done beyond the seal, in words."""
        record, again = self.record, self.again
        yield f"It is record {record.revision} of lot {record.lot.code}, {record.establishment.name}."
        yield (
            "Its pages say, line by line, what is attached."
            if self.whole_lines
            else "Its pages were set by another version’s layout: every verdict, reading and figure of "
            "what is attached was found on them; their other words were not compared."
        )
        if not self.table and record.form > 1:
            yield "It carries no table of readings."
        yield from self._verdicts_words(again)
        yield (
            f"It rests on the book up to line {record.book.line}, digest {record.book.digest}: the "
            "establishment’s book must still say so."
        )

    def _verdicts_words(self, again: Recomputed) -> Iterator[str]:
        if self.record.form == 1:
            yield (
                "It is of form 1, which does not carry all that its verdicts were computed from: they "
                "were not computed again."
            )
            return
        yield (
            f"All {again.verdicts} verdicts were computed again from the attached readings and limits "
            f"(rules {RULES})."
        )
        for one in again.differences[:MANY]:
            yield (
                f"Differs under today’s rules, which is no alteration: {one.what} was stated as "
                f"“{one.stated}” and would now be “{one.found}”."
            )


def check(
    data: bytes, trusted: Sequence[bytes], trusted_stamps: Sequence[bytes] = ()
) -> CheckResult:
    """Checks a file: its seal, its pages against what is attached, its verdicts against its readings.

    Errs against the file: whatever cannot be read or does not fit exactly counts as altered.

    Args:
        data: the whole file.
        trusted: PEM certificates, each a sealing certificate or the authority that issued one.
        trusted_stamps: likewise of time stamping authorities.
    """
    try:
        seal = checked_seal(data, trusted_stamps)
    except Altered as found:
        return CheckResult(ALTERED, (f"Altered: {found}",) if sealed(data) else (f"{found}",))
    try:
        held = _held(data)
    except _Newer as found:
        held, newer = None, str(found)
    except Altered as found:
        said = "The seal itself is intact, so this was sealed as it is, by whoever had the key."
        return CheckResult(ALTERED, (*(f"Altered: {one}" for one in found.args), said))
    words = tuple(held.words()) if held else (newer,)
    result = _whose(seal, trusted, words)
    return _naming(result, held) if held else result


class _Newer(Exception):
    """A record of a form that only a newer version reads."""


def _naming(result: CheckResult, held: Held) -> CheckResult:
    record = held.record
    return replace(
        result,
        lot=record.lot.code,
        revision=record.revision,
        verdicts=held.again.verdicts,
        book_line=record.book.line,
        book_digest=record.book.digest,
    )


def make_ready() -> None:
    """Loads all that a check needs."""
    from pyhanko.pdf_utils.reader import PdfFileReader  # noqa: F401

    from lots.pdf import attached, checked_pages, printed  # noqa: F401
    from lots.pdf.faces import load_faces

    load_faces()


def _held(data: bytes) -> Held:
    """The record in the file, its pages and verdicts held against what it carries."""
    import pikepdf

    from lots.pdf.checked_pages import page_faults, whole_lines
    from lots.pdf.printed import NotOurPage, printed

    with pikepdf.open(BytesIO(data)) as file:
        attached = _attachments(file)
        record, bytes_ = _record(attached)
        table = _table(record, attached)
        try:
            pages = printed(file)
            digest = hashlib.sha256(bytes_).hexdigest()
            faults = list(page_faults(file, pages, record, digest))
        except NotOurPage as error:
            raise Altered(f"{error}.") from None
        except (Altered, MemoryError, ImportError):
            raise
        except Exception as error:  # a page or a face that cannot be read at all
            raise Altered(f"its pages cannot be read ({type(error).__name__}).") from error
        whole = whole_lines(file)
    if faults:
        more = [f"and {len(faults) - MANY} more such differences."] if len(faults) > MANY else []
        raise Altered(*(f"{fault}." for fault in faults[:MANY]), *more)
    return Held(record, _again(record), whole, table)


def _again(record: LotRecord) -> Recomputed:
    try:
        again = recomputed(record)
    except (ValueError, LookupError, TypeError, RecursionError) as error:
        raise Altered(f"what its verdicts rest on cannot be read ({error}).") from error
    altered = [one for one in again.differences if one.altered]
    if altered:
        raise Altered(
            *(
                f"{one.what} is stated as “{one.stated}”; what is attached gives “{one.found}”."
                for one in altered[:MANY]
            )
        )
    return again


def _attachments(file: Any) -> dict[str, bytes]:
    from lots.pdf.attached import TooLarge, attachments

    try:
        return attachments(file)
    except TooLarge as error:
        raise Altered(f"{error}.") from None


def _record(attached: dict[str, bytes]) -> tuple[LotRecord, bytes]:
    from lots.core.record import record_from
    from lots.pdf.render import ATTACHMENT

    data = attached.get(ATTACHMENT)
    if data is None:
        raise Altered("no record is attached, so this is no record of this logbook.")
    try:
        return record_from(data), data
    except NotARecord as error:
        if _form(data) > FORM:
            raise _Newer(
                "It was made by a newer version of the logbook: its pages and verdicts can be checked "
                "by that version only."
            ) from None
        raise Altered(f"what is attached cannot be read as a record ({error}).") from None


def _form(data: bytes) -> int:
    try:
        form = json.loads(data)["form"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return 0
    return form if isinstance(form, int) else 0


def _table(record: LotRecord, attached: dict[str, bytes]) -> bool:
    """Whether the readings' table is there; it must be the record's own."""
    from lots.core.readings_csv import readings_csv
    from lots.pdf.render import ATTACHMENT, TABLE

    odd = sorted(attached.keys() - {ATTACHMENT, TABLE})
    if odd:
        raise Altered(f"something else is attached: {', '.join(odd)}.")
    if TABLE in attached and attached[TABLE] != readings_csv(record):
        raise Altered("the attached table of readings is not that of the attached record.")
    if TABLE not in attached and record.form > 1:
        raise Altered("the table of readings is gone.")
    return TABLE in attached


def _whose(seal: SealFound, trusted: Sequence[bytes], words: Sequence[str]) -> CheckResult:
    """Whose seal it is, once it is known to be intact."""
    certificate, sealed_at = seal.certificate, seal.sealed_at
    fingerprint = certificate.fingerprint(hashes.SHA256()).hex()
    signer = ", ".join(str(a.value) for a in reversed(list(certificate.subject)))
    said = (
        "Intact: not a byte has changed since it was sealed.",
        *words,
        f"Sealed {sealed_at or 'at a time not stated'} by the clock of whoever sealed it.",
        *_stamp_words(seal.stamp),
        f"The certificate names: {signer}",
        f"Its fingerprint (SHA-256): {_grouped(fingerprint)}",
    )
    if any(vouches(pem, certificate) for pem in trusted):
        known = "The seal is one that you trust."
        return CheckResult(INTACT, (*said, known), fingerprint, signer, sealed_at, stamp=seal.stamp)
    unknown = (
        "Whose seal it is could not be established: anybody can write any name into a certificate. "
        "Compare the fingerprint with the one that the establishment gives you, or name its "
        "certificate with --trust."
    )
    return CheckResult(UNKNOWN, (*said, unknown), fingerprint, signer, sealed_at, stamp=seal.stamp)


def _stamp_words(stamp: StampFound | None) -> Iterator[str]:
    """What a time stamp says beyond the sealer's own clock."""
    if stamp is None:
        yield "It carries no time stamp: when it was sealed rests on that clock alone."
        return
    moment = stamp.moment.isoformat(timespec="seconds")
    whose = "which you trust" if stamp.trusted else "whose certificate nobody here vouches for"
    yield f"Time stamp: the seal existed at {moment}, says {stamp.signer}, {whose}."
    yield f"The stamp’s fingerprint (SHA-256): {_grouped(stamp.fingerprint)}"


def _grouped(fingerprint: str) -> str:
    return " ".join(fingerprint[i : i + 4] for i in range(0, len(fingerprint), 4))


def main(arguments: Sequence[str] | None = None) -> int:
    """Checks the file named on the command line and prints what was found."""
    parser = argparse.ArgumentParser(
        prog="python -m lots.pdf.check", description=__doc__.split("\n")[0]
    )
    parser.add_argument("file", type=Path, metavar="FILE")
    parser.add_argument("--trust", type=Path, action="append", default=[], metavar="CERT")
    parser.add_argument("--trust-stamp", type=Path, action="append", default=[], metavar="CERT")
    parser.add_argument("--json", action="store_true", help="print the result for a program")
    given = parser.parse_args(arguments)
    try:
        data = given.file.read_bytes()
        trusted = [path.read_bytes() for path in given.trust]
        stamps = [path.read_bytes() for path in given.trust_stamp]
        for pem in (*trusted, *stamps):
            x509.load_pem_x509_certificate(pem)
    except OSError as error:
        parser.error(f"{error.filename} cannot be read: {error.strerror}")
    except ValueError:
        parser.error("a file named with --trust or --trust-stamp is not a certificate in PEM form")
    result = check(data, trusted, stamps)
    print(result.as_json() if given.json else "\n".join(result.lines))
    return result.exit_code


if __name__ == "__main__":
    sys.exit(main())
