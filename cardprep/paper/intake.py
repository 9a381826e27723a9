"""A file that was taken in, as lines for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.images.report import ContainerReport
from cardprep.manifest.model import ImageFacts
from cardprep.paper.fold import folded
from cardprep.terms import size_in_words, spelled_out
from cardprep.texts.catalogue import screen, word


def taken_in_lines(
    image: ImageFacts,
    container: ContainerReport,
    *,
    on_shelf: bool,
    in_manifest: bool,
    list_checked: bool = False,
    other_name: str | None = None,
    same_name: Sequence[str] = (),
    archive: tuple[str, str] | None = None,
    checked: tuple[str, bool] | None = None,
    width: int = 96,
) -> list[str]:
    """Return what was taken in, and what was there before.

    archive  name of the archive, and of the member in it
    checked  algorithm of the published checksum that held, and whether it is a weak one
    """
    named = {"file": image.file, "type": image.type.word, "version": image.version.text}
    lines = [screen("intake.done", models=", ".join(image.models), **named)]
    if archive is not None:
        outer, member = spelled_out(archive[0]), spelled_out(archive[1])
        lines.append(screen("intake.unpacked", archive=outer, member=member))
    lines.append(
        screen(
            "intake.container",
            format=word(container.format),
            size=size_in_words(image.size),
            soundness=screen(f"soundness.{container.soundness.value}"),
        )
    )
    lines.append(screen("intake.digest", sha256=image.sha256))
    if checked is not None:
        slug = "intake.checked-weak" if checked[1] else "intake.checked"
        lines.append(screen(slug, algorithm=checked[0]))
    if on_shelf:
        lines.append(screen("intake.on-shelf"))
    if other_name is not None:
        lines.append(screen("intake.other-name", given=spelled_out(other_name), file=image.file))
    if same_name:
        lines.append(screen("intake.same-name", file=image.file, versions=", ".join(same_name)))
    if list_checked:
        lines += [screen("intake.list-checked"), screen("intake.next")]
    else:
        lines.append(screen("intake.in-manifest" if in_manifest else "intake.next"))
    return folded(lines, width)
