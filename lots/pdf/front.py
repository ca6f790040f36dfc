"""The first page, for a person in a hurry: what, how much, from when, how it was judged, by whom."""

from lots.core.record import ControlPoint, DeviationFacts, JudgedLimit, Kin, LotRecord
from lots.pdf.faces import Own, printable, wrapped
from lots.pdf.layout import SMALL, Column, Row, Shaped, Sheet, page_of
from lots.pdf.square import square, square_words
from lots.pdf.words import NONE, VERDICTS, Shown, day_of, limit_number, point_name, sentence, worst

SEAL = (
    "The seal is a digital signature in the file over every byte of it; python -m lots.pdf.check FILE "
    "checks it and computes every verdict again. A print proves nothing by itself: its square code says "
    "the digests that the file must show."
)


FRONT_SHARE = 0.2  # of the width, for the labels: short ones, so that what they say has room


CODE = 84.0  # side of the square code, in points
BESIDE = CODE + 6.0


def draw_front(sheet: Sheet, record: LotRecord, shown: Shown, digest: str) -> None:
    """Writes the first page (and runs on to a second where the lot asks for it)."""
    top = sheet.y
    _title(sheet, record, shown)
    edge = sheet.paper.width - sheet.paper.right
    sheet.marks.extend(square(square_words(record, digest), edge - CODE + 6, top + 8, CODE))
    sheet.y = min(sheet.y, top + 8 - CODE)
    _standing(sheet, record, shown)
    _facts(sheet, record, shown)
    _quantities(sheet, record, shown)
    _control_points(sheet, record)
    _deviations(sheet, record, shown)


def _title(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    place, lot = record.establishment, record.lot
    sheet.text(place.name, "Bold", 12, right=BESIDE)
    address = sentence(place.address.replace("\n", ", "), place.sells)
    sheet.text(address, grey=0.2, right=BESIDE)
    sheet.gap(9)
    sheet.rule(0.8, right=BESIDE)
    sheet.gap(7)
    room = sheet.paper.room - BESIDE
    size = 19 if len(wrapped(printable(f"Lot {lot.code}"), "Bold", 19, room)) == 1 else 13
    sheet.text(f"Lot {lot.code}", "Bold", size, right=BESIDE)
    sheet.text(lot.product, "Bold", 11, right=BESIDE)
    made = f"Record {record.revision}, made {shown.moment(record.made_at)} by {record.made_by}"
    sheet.gap(2)
    sheet.text(f"{made}. {SEAL}", grey=0.2, right=BESIDE)
    if record.replaces:
        words = sentence(f"Replaces {record.replaces}, which stays", record.changed, joint=": ")
        sheet.text(words, "Bold", right=BESIDE)


def _standing(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    sheet.gap(8)
    release = record.release
    if record.lot.voided:
        sheet.text("VOID", "Bold", 16)
        by = f"{shown.moment(record.lot.voided_at)} by {record.lot.voided_by}"
        sheet.text(f"This lot was opened in error: {record.lot.voided}")
        sheet.text(f"Voided {by}." if record.lot.voided_by else "")
    elif not release.released_at:
        sheet.text(f"NOT RELEASED: {record.lot.state}", "Bold", 16)
    else:
        sheet.text(
            f"Released {shown.moment(release.released_at)} by {release.initials}", "Bold", 11
        )
    if release.released_at:
        stated = release.stated and f"stated at release: {release.stated}"
        sheet.text(sentence(release.storage, stated, joint="; "))
    if release.note:
        sheet.text(f"Note: {release.note}")
    _unreviewed(sheet, record)
    sheet.gap(6)


def _unreviewed(sheet: Sheet, record: LotRecord) -> None:
    if all(one.kind != "review" for one in record.signatures):
        sheet.text("Records: reviewed by nobody yet.", "Bold")
    elif record.unreviewed:
        sheet.text(f"Entries since the last review, not reviewed yet: {record.unreviewed}.", "Bold")


def _signed(record: LotRecord, shown: Shown) -> str:
    """Who reviewed and released; the plan's own signature stands with the plan."""
    lines = []
    for one in record.signatures:
        if one.kind != "plan":
            words = f"{one.printed_name} ({one.initials}), {one.right}: {one.meaning}"
            lines.append(sentence(words, shown.moment(one.signed_at), one.note, joint=", "))
    return "\n".join(lines)


def _facts(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    lot, plan = record.lot, record.plan
    came = sentence(
        lot.supplier, lot.supplier_lot and f"supplier’s lot {lot.supplier_lot}", joint=", "
    )
    sheet.pairs([
        ("Fish", sentence(lot.species, lot.species_code, lot.origin, joint=", ")),
        ("From", came),
        ("Received, opened", f"{shown.moment(lot.received_at)}, {shown.moment(lot.opened_at)} ({lot.opened_by})"),
        ("Work", _work(record, shown)),
        ("Plan", f"{plan.title}, version {plan.version}, accepted for use {shown.moment(plan.published_at)} by {plan.signed_by}"),
        ("Records kept until", _kept_until(record)),
        ("Note", lot.note if not lot.parents else ""),
        ("Came from", "\n".join(_kin(k, shown) for k in lot.parents)),
        ("Went into", "\n".join(_kin(k, shown) for k in lot.children)),
    ], FRONT_SHARE)  # fmt: skip


def _kept_until(record: LotRecord) -> str:
    """Until when the rule asks to keep them; nothing is removed by itself."""
    return record.kept_until and f"{day_of(record.kept_until)} at least"


def _kin(kin: Kin, shown: Shown) -> str:
    """Another lot, how much fish, when, by whom and why, and the loads that were taken along."""
    when = f"{shown.moment(kin.at)} by {kin.initials}" if kin.at else ""
    loads = ", ".join(map(str, kin.loads))
    along = f"taken along: load{'s' if len(kin.loads) > 1 else ''} {loads}" if kin.loads else ""
    return sentence(
        f"{kin.lot} ({kin.how}, {shown.weight(kin.amount_g)})", when, kin.reason, along, joint="; "
    )


def _work(record: LotRecord, shown: Shown) -> str:
    if not record.loads:
        return "no load yet"
    first = shown.moment(min(load.started_at for load in record.loads))
    running = any(not load.ended_at for load in record.loads)
    last = shown.moment(max(load.ended_at for load in record.loads))
    return f"from {first} to {'now, a load still running' if running else last}"


def _quantities(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    lot = record.lot
    rows = [("received", lot.received_g), ("finished", lot.finished_g)]
    words = [f"{word} {shown.weight(grams)}" for word, grams in rows if grams]
    parts = [f"{share.word} {shown.weight(share.amount_g)}" for share in lot.quantities]
    sheet.pairs([
        ("Quantity", sentence(", ".join(words), lot.packs)),
        ("Packed", _finish(record, shown)),
        ("Destroyed", "\n".join(f"{shown.weight(d.amount_g)}, {shown.moment(d.at)} by {d.initials}: {d.reason}"
                                for d in lot.destroyed)),
        ("By disposition", ", ".join(parts) or "none decided yet"),
        ("Reviewed and signed", _signed(record, shown)),
    ], FRONT_SHARE)  # fmt: skip


def _finish(record: LotRecord, shown: Shown) -> str:
    lot = record.lot
    if not lot.finished_at:
        return ""
    return sentence(
        f"{shown.moment(lot.finished_at)} by {lot.finished_by}", lot.finish_note, joint=": "
    )


def _control_points(sheet: Sheet, record: LotRecord) -> None:
    sheet.heading("Critical control points", "front-points", 1, 50)
    columns = [
        Column("Control point", 24),
        Column("Verdict", 19),
        Column("Figure", 23),
        Column("Limit", 34),
    ]
    sheet.table(columns, [_point_row(record, point) for point in record.control_points], SMALL)
    if record.unjudged:
        sheet.text("Not judged by this version: " + "; ".join(record.unjudged) + ".")


NO_STEP = "no such step yet"
SHORT = 80  # characters of a limit on the first page: two lines of its column


def _point_row(record: LotRecord, point: ControlPoint) -> Row:
    mine = [v for v in record.verdicts if v.control_point == point.id]
    if not mine:
        return Row((f"{point.id} {point.name}", NO_STEP, NONE, NONE))
    verdict = worst([v.verdict for v in mine])
    governs = next(v for v in mine if v.verdict == verdict)
    figure = (governs.figure or NONE) + _others(mine, governs)
    words = f"{point.id} {point.name}"
    return Row((words, Shaped(verdict, VERDICTS[verdict]), figure, _short(governs.bound)))


def _short(bound: str) -> str:
    """The limit as the first page has room for; the whole of it stands among the verdicts."""
    if len(bound) <= SHORT:
        return bound
    return bound[:SHORT].rsplit(" ", 1)[0].rstrip(",;:") + " …"


def _others(mine: list[JudgedLimit], governs: JudgedLimit) -> str:
    rest = [v for v in mine if v is not governs]
    if all(v.verdict == governs.verdict == "MET" for v in rest):
        return ""
    counts = [(sum(v.verdict == word for v in rest), word) for word in reversed(VERDICTS)]
    words = ", ".join(f"{n} {VERDICTS[word]}" for n, word in counts if n)
    return f" (worst of {len(mine)}; others: {words})"


def _deviations(sheet: Sheet, record: LotRecord, shown: Shown) -> None:
    sheet.heading("Deviations", "front-deviations", 1, 40 if record.deviations else 12)
    if not record.deviations:
        sheet.text("None opened.")
        return
    columns = [
        Column("", 6),
        Column("Limit broken", 39),
        Column("When it broke", 25.6),
        Column("The fish", 29.4),
    ]
    rows = [
        Row((f"D{d.number}", _broken(record, d), shown.moment(d.broke_at), fate(d, shown)))
        for d in record.deviations
    ]
    sheet.table(columns, rows, SMALL)
    sheet.text(Own(f"In full on page {page_of('deviations')}."), grey=0.2)


def _broken(record: LotRecord, one: DeviationFacts) -> str:
    """The control point and the limit in words, shortened."""
    name = sentence(
        limit_number(record, one.control_point, one.limit),
        point_name(record, one.control_point),
        joint=" ",
    )
    words = sentence(name, _short(one.bound), joint=": ")
    return sentence(words, one.lot and f"(lot {one.lot})", joint=" ")


def fate(deviation: DeviationFacts, shown: Shown) -> str:
    """What became of the fish of a deviation, in a few words: every decision that stands, and what
    is still undecided."""
    grams: dict[str, int] = {}
    for one in deviation.dispositions:
        if one.final:
            grams[one.word] = grams.get(one.word, 0) + one.amount_g
    words = [f"{word} {shown.weight(amount)}" for word, amount in grams.items()]
    last = deviation.dispositions[-1] if deviation.dispositions else None
    if last is not None and not last.final:
        words.append(f"{last.word} {shown.weight(last.amount_g)} (not final)")
    if deviation.undecided_g and grams:
        words.append(f"still undecided: {shown.weight(deviation.undecided_g)}")
    return ", ".join(words) or "not yet decided"
