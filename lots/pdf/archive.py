"""What makes the pages a file for the archive (PDF/A-3): what it says of itself, its grey, what is
attached.  Nothing here reads a clock: everything is dated to the record.

Source: ISO 19005-3 (PDF/A-3) for what must be there; ISO 32000-1, 7.11 and 14.3 for how it is written.
"""

import struct
from collections.abc import Sequence
from datetime import datetime
from io import BytesIO
from typing import Any, Final, NamedTuple
from xml.sax.saxutils import escape

GAMMA: Final = 2.2
"""The tone of the grey that the pages are painted in (common practice for screens and printers)."""


class Attached(NamedTuple):
    """A file that travels inside the record."""

    name: str
    kind: str
    words: str
    data: bytes


class Told(NamedTuple):
    """What the file says of itself."""

    title: str
    author: str
    subject: str
    made_with: str
    made: datetime


def archived(pdf: bytes, told: Told, attached: Sequence[Attached], part: int = 3) -> bytes:
    """The pages as PDF/A: `part` 3 with what is attached; 1 knows no attachments."""
    import pikepdf

    out = BytesIO()
    with pikepdf.open(BytesIO(pdf)) as file:
        stamp = _pdf_date(told.made)
        _say(file, told, stamp, part)
        _grey(file)
        for one in attached:
            _attach(file, one, stamp)
        if attached:
            names = [file.attachments[one.name].obj for one in attached]
            file.Root.AF = pikepdf.Array(names)
        file.Root.ViewerPreferences = pikepdf.Dictionary(DisplayDocTitle=True)
        for page in file.pages:
            if "/Trans" in page:
                del page["/Trans"]
        options: dict[str, Any] = {"deterministic_id": True}
        if part == 1:
            no_streams = pikepdf.ObjectStreamMode.disable
            options |= {"object_stream_mode": no_streams, "force_version": "1.4"}
        else:
            options |= {"min_version": "1.7"}
        file.save(out, **options)
    return out.getvalue()


def _pdf_date(moment: datetime) -> str:
    from pikepdf.models.metadata import encode_pdf_date

    return str(encode_pdf_date(moment))


def _attach(file: Any, one: Attached, stamp: str) -> None:
    import pikepdf

    file.attachments[one.name] = pikepdf.AttachedFileSpec(
        file, one.data, filename=one.name, mime_type=one.kind, creation_date=stamp,
        mod_date=stamp, description=one.words, relationship=pikepdf.Name.Data,
    )  # fmt: skip


def _say(file: Any, told: Told, stamp: str, part: int) -> None:
    """The same in the file's dictionary and in its XMP, word for word."""
    import pikepdf

    info = {
        "/Title": told.title, "/Author": told.author, "/Subject": told.subject,
        "/Creator": told.made_with, "/CreationDate": stamp, "/ModDate": stamp,
    }  # fmt: skip
    for name in list(file.docinfo.keys()):
        del file.docinfo[name]
    for name, value in info.items():
        file.docinfo[name] = pikepdf.String(value)
    packet = pikepdf.Stream(file, _xmp(told, part))
    packet.Type, packet.Subtype = pikepdf.Name.Metadata, pikepdf.Name.XML
    file.Root.Metadata = file.make_indirect(packet)


XMP: Final = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"
 xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/">
<dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt></dc:description>
<xmp:CreatorTool>{made_with}</xmp:CreatorTool>
<xmp:CreateDate>{made}</xmp:CreateDate>
<xmp:ModifyDate>{made}</xmp:ModifyDate>
<pdfaid:part>{part}</pdfaid:part>
<pdfaid:conformance>B</pdfaid:conformance>
</rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="r"?>"""


def _xmp(told: Told, part: int) -> bytes:
    words = {
        name: escape(str(getattr(told, name)))
        for name in ("title", "author", "subject", "made_with")
    }
    made = told.made.isoformat(timespec="seconds")
    return XMP.format(**words, made=made, part=part).encode()


def _grey(file: Any) -> None:
    """Says which grey the pages' grey is."""
    import pikepdf

    profile = pikepdf.Stream(file, grey_profile())
    profile.N = 1
    file.Root.OutputIntents = pikepdf.Array([
        pikepdf.Dictionary(
            Type=pikepdf.Name.OutputIntent, S=pikepdf.Name.GTS_PDFA1,
            OutputConditionIdentifier=pikepdf.String("Grey, gamma 2.2"),
            Info=pikepdf.String("Grey, gamma 2.2"),
            DestOutputProfile=file.make_indirect(profile),
        )
    ])  # fmt: skip


def grey_profile() -> bytes:
    """A colour profile of one grey channel.  Source: ICC.1:2001-04 (version 2), 6.1 and 6.5."""
    words = b"Grey, gamma 2.2"
    said = struct.pack(">4sII", b"desc", 0, len(words) + 1) + words + b"\0"
    tags = {
        b"desc": said + struct.pack(">II", 0, 0) + struct.pack(">HB", 0, 0) + bytes(67),
        b"cprt": b"text" + bytes(4) + b"No rights are claimed\0",
        b"wtpt": b"XYZ " + bytes(4) + struct.pack(">3i", *_D50),
        b"kTRC": struct.pack(">4sIIH", b"curv", 0, 1, round(GAMMA * 256)),
    }
    table, data = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for name, tag in tags.items():
        table += struct.pack(">4sII", name, start + len(data), len(tag))
        data += tag + bytes(-len(tag) % 4)
    head = struct.pack(
        ">I4sI4s4s4s6H4s4sIIIQI3i4s44s", start + len(data), bytes(4), 0x02100000, b"mntr", b"GRAY",
        b"XYZ ", 2026, 1, 1, 0, 0, 0, b"acsp", bytes(4), 0, 0, 0, 0, 0, *_D50, bytes(4), bytes(44),
    )  # fmt: skip
    return head + table + data


_D50: Final = (0x0000F6D6, 0x00010000, 0x0000D32D)
"""The white that profiles are related to, in 1/65536.  Source: ICC.1:2001-04, 6.1.11."""
