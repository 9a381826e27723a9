"""Rules about the content of files: altered, cut short, broken, packed.

A digest proves what a file is; a container format can only contradict what a
name claims. The block digests tell where two contents part, and no more.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from cardprep.digests import ContentDigests, FileDigests
from cardprep.findings import Finding, Parameter
from cardprep.images.report import ContainerReport, Problem, Soundness
from cardprep.manifest.model import ImageFacts
from cardprep.rules.context import By, Context, Identified
from cardprep.rules.images import about_image, list_checked
from cardprep.rules.names import ending
from cardprep.terms import CHUNK

if TYPE_CHECKING:
    from cardprep.rules.closer import Closely

_PACKED = frozenset(("zip", "gzip", "tar", "xz", "zstd", "bzip2", "lz4"))
_OPAQUE = "opaque"
_PAGE = "html"
_BLOCKS_THAT_TELL = 2
# What a card gives back for sectors that were never written.
_FILLINGS = (b"\0", b"\xff")


def altered(context: Context) -> list[Finding]:
    """Return a finding for each file that has an image's name and other bytes."""
    findings = []
    for item, image in context.images:
        digests = item.file.digests
        if item.by is By.DIGEST or digests is None:
            continue
        close = _closely(context, item, image)
        if _is_beginning(image, digests) if close is None else close.begins:
            got, wanted = digests.size, image.size
            findings.append(about_image("cut-short", item, image, got=got, wanted=wanted))
        elif _is_another_version(item, image, digests):
            # Nobody overrules this: a version that support sent has a place on the shelf.
            on = list_checked(context, image)
            findings.append(about_image("other-under-name", item, image, list_checked=on))
        else:
            findings.append(_altered(item, image, digests, close))
    return findings


def unsteady(context: Context) -> list[Finding]:
    """Return a finding for each file of which the card gave other bytes the second time."""
    if not context.read_twice:
        return []
    from cardprep.rules import closer

    return closer.unsteady(context)


def _closely(context: Context, item: Identified, image: ImageFacts) -> Closely | None:
    if not context.read_twice:
        return None
    # Few cards are looked at twice, and all others need not wait for this.
    from cardprep.rules.closer import closely

    return closely(context, item.file, image)


def _is_another_version(item: Identified, image: ImageFacts, digests: FileDigests) -> bool:
    """Return whether a file is a whole other one of the right format under an image's own name.

    Makers keep one name for all versions. Damage does not leave a file without one
    block in common whose own checksums hold; a single block proves nothing.
    """
    report = item.file.container
    whole = min(len(image.chunks), len(digests.chunks))
    if item.by is not By.NAME or report is None or whole < _BLOCKS_THAT_TELL:
        return False
    if _are_line_ends_changed(item, image):
        return False
    holds = report.soundness is Soundness.HOLDS and report.format == image.container
    return holds and not set(image.chunks) & set(digests.chunks)


def _are_line_ends_changed(item: Identified, image: ImageFacts) -> bool:
    """Return whether a record file is longer or shorter by one byte a line, as in text mode."""
    report = item.file.container
    if report is None or report.format != image.container:
        return False
    records, ends = report.facts.get("records"), report.facts.get("line_ends")
    grown = item.file.size - image.size
    return isinstance(records, int) and grown == {"CR LF": records, "LF": -records}.get(str(ends))


def _is_beginning(image: ImageFacts, digests: FileDigests) -> bool:
    """Return whether the block digests prove that a content is the beginning of an image's.

    The last block of a cut copy is shorter, so its digest says nothing; a copy
    without one whole block cannot be told from something else, unless it is empty.
    """
    whole = digests.size // CHUNK
    if digests.size >= image.size or (whole == 0 and digests.size):
        return False
    return image.chunks[:whole] == digests.chunks[:whole]


def differing_blocks(image: ImageFacts, digests: FileDigests) -> list[int]:
    """Return the numbers of the blocks that are not the same, those of one alone included."""
    known, found = image.chunks, digests.chunks
    blocks = max(len(known), len(found))
    return [n for n in range(blocks) if known[n : n + 1] != found[n : n + 1]]


def _altered(
    item: Identified, image: ImageFacts, digests: FileDigests, close: Closely | None
) -> Finding:
    blocks = max(len(image.chunks), len(digests.chunks))
    # Quick digests may have been made to agree; where the bytes differ is not known then.
    differing = differing_blocks(image, digests) or list(range(blocks))
    parameters: dict[str, Parameter] = {
        "by": f"by-{item.by}",
        "how": _how_closely(image, digests, close) or _how(item, image, digests, differing),
        "where": "where-blocks",
        "chunks": len(differing),
        "of": blocks,
        "first": differing[0] * CHUNK,
        "got": digests.size,
        "wanted": image.size,
    }
    if close is not None:
        parameters |= {"first": close.first, "last": close.last, "where": _where(close)}
    finding = about_image("altered", item, image, **parameters)
    if len(differing) == blocks and len(item.claims) > 1:
        # Nothing tells which of the versions of this name it was.
        versions = dict.fromkeys(claim.version.text for claim in item.claims)
        parameters = {**finding.parameters, "version": ", ".join(versions)}
        return Finding("altered", finding.path, finding.structure, parameters)
    return finding


def _where(close: Closely) -> str:
    """Return the slug of the sentence that says which bytes differ."""
    return "where-byte" if close.first == close.last else "where-bytes"


def _how_closely(image: ImageFacts, digests: FileDigests, close: Closely | None) -> str | None:
    """Return the slug of a word for a cause that only the bytes themselves show, or None."""
    if close is None or digests.size != image.size:
        return None
    if close.bits is not None and close.single:
        return "altered-bit" if close.bits == 1 else "altered-bits"
    # Up to the end, it is a copy that broke off.
    if close.stretch and close.last < image.size - 1:
        return "altered-stretch"
    return None


def _how(item: Identified, image: ImageFacts, digests: FileDigests, differing: list[int]) -> str:
    """Return the slug of a word for how a content differs."""
    if _are_line_ends_changed(item, image):
        return "altered-line-ends"
    whole = image.size // CHUNK
    if digests.size > image.size and whole and image.chunks[:whole] == digests.chunks[:whole]:
        # Two files joined, or one that was written over a longer one.
        return "altered-longer"
    found = digests.chunks
    sizes = [min(CHUNK, digests.size - at) for at in range(0, digests.size, CHUNK)]
    filled = [chunk in filled_blocks(size) for chunk, size in zip(found, sizes, strict=True)]
    # The copy broke off inside the first block that differs, or before it.
    is_whole = digests.size == image.size and all(filled[differing[0] + 1 :])
    if is_whole and any(filled[number] for number in differing):
        return "altered-filled"
    blocks = max(len(found), len(image.chunks))
    return "altered-all" if len(differing) == blocks else "altered-part"


@lru_cache(maxsize=64)
def filled_blocks(size: int) -> tuple[str, ...]:
    """Return the digests of a block of each filling."""
    found: list[str] = []
    for filling in _FILLINGS:
        digests = ContentDigests()
        digests.update(filling * size)
        found += digests.result().chunks
    return tuple(found)


def containers(context: Context) -> list[Finding]:
    """Return findings about files whose own checksums fail, or that are not what was promised."""
    findings = []
    for item in context.files:
        report = item.file.container
        if report is None or item.system_folder is not None:
            continue
        image, shown = item.image, item.file.shown
        if item.by is By.DIGEST and image is not None:
            # The bytes are those that the shop released. Where it says that they are of this
            # format they must hold; where it says nothing, the likeness may be chance.
            if report.format == image.container != _OPAQUE:
                findings += _broken(shown, report)
            continue
        findings += _broken(shown, report)
        if image is not None and report.format != image.container:
            parameters = {"format": report.format, "promised": image.container}
            findings.append(Finding("container-contradicts", shown, "file content", parameters))
        elif image is None and report.format in _PACKED:
            parameters = {"format": report.format}
            findings.append(Finding("left-packed", shown, "file content", parameters))
        elif image is None and report.format == _PAGE and _is_named_like_one(context, item):
            findings.append(Finding("page-as-image", shown, "file content"))
    return findings


def _is_named_like_one(context: Context, item: Identified) -> bool:
    return ending(item.file.path[-1]) in context.endings


def _broken(shown: str, report: ContainerReport) -> list[Finding]:
    """Name the first problem, with the numbers of its own sentence."""
    if report.soundness is not Soundness.BROKEN:
        return []
    first = report.problems[0] if report.problems else Problem("")
    parameters = {**first.parameters, "format": report.format, "problem": first.reason}
    return [Finding("container-broken", shown, "file content", parameters)]
