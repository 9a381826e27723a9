"""The picture of a plan: what is out of service is marked, and everything has its word."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

from cardprep.paper.plan_picture import plan_picture
from cardprep.terms import APPLICATION
from tests.vessel.test_rehearse import APP, BOOT, HANDSET, MAIN, RADIO, rehearsed
from tests.vessel.visits import V, image, job, manifest


def words(drawn: str) -> list[str]:
    root = ElementTree.fromstring(drawn)  # noqa: S314 - what we wrote ourselves
    return ["".join(found.itertext()) for found in root.iter() if found.tag.endswith("text")]


def test_a_waiting_unit_is_marked_from_its_step_to_the_card_that_ends_it() -> None:
    drawn = plan_picture(rehearsed(job(MAIN)))
    shown = words(drawn)
    assert "card 1: bootloader" in shown
    assert "bootloader 3.10" in shown
    assert "application 4.30" in shown
    assert shown.count("out of service") == 1
    assert drawn.count('fill="url(#out)"') == 2
    assert "handset blank" not in shown


def test_two_radios_of_one_role_are_never_out_of_service_together() -> None:
    other = replace(MAIN, serial="2")
    shelf = manifest(BOOT, APP, models=(RADIO, HANDSET))
    shown = words(plan_picture(rehearsed(job(MAIN, other), shelf)))
    assert len([word for word in shown if word.startswith("card ")]) == 4
    assert shown.count("out of service") == 2


def test_a_blank_handset_has_a_mark_of_its_own() -> None:
    shelf = manifest(
        image(APPLICATION, "4.20"),
        replace(APP, needs=(), from_versions=(V("4.20"),)),
        models=(RADIO, HANDSET),
    )
    drawn = plan_picture(rehearsed(job(MAIN), shelf))
    assert words(drawn).count("handset blank") == 1
    assert drawn.count('fill="url(#blank)"') == 2


def test_names_are_spelled_out() -> None:
    hostile = replace(MAIN, role="<script>main</script> & co")
    drawn = plan_picture(rehearsed(job(hostile)))
    assert "<script" not in drawn
    assert "<script>main</script> & co" in words(drawn)
