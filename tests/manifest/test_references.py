"""What a manifest refers to is there, and nothing is there twice.

The sample is invented, and so are its digests.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from cardprep.manifest.text import find_mistakes, parse
from cardprep.texts.catalogue import refusal

SAMPLE = (Path(__file__).parents[2] / "fixtures" / "gannet_slip.toml").read_bytes()
LINES = SAMPLE.decode().split("\n")


def with_lines(edits: dict[int, str]) -> bytes:
    """Return the sample with other lines, counted from 1."""
    lines = list(LINES)
    for number, line in edits.items():
        lines[number - 1] = line
    return "\n".join(lines).encode()


DIGEST_1 = "1" * 64
# line of the sample: what stands there instead; then line, key and reason of the one mistake.
MISTAKES = [
    pytest.param(
        {31: 'companion = { model = "OV-H5", presence = "always" }'},
        *(31, "model[1].companion.model", "model-unknown"),
        id="companion that is not there",
    ),
    pytest.param(
        {31: 'companion = { model = "OV-V40", presence = "always" }', 89: "", 109: ""},
        *(31, "model[1].companion.model", "own-companion"),
        id="companion of itself",
    ),
    pytest.param(
        {40: '"chart data" = "x"'},
        *(40, "model[1].read_at.chart data", "type-not-of-model"),
        id="version of what it has not",
    ),
    pytest.param(
        {48: 'versions = { bootloader = ["1"] }', 89: "", 109: ""},
        *(48, "model[2].versions.bootloader", "type-not-of-model"),
        id="order of what it has not",
    ),
    pytest.param({51: 'name = "OV-H4"', 86: ""}, 51, "model[3].name", "twice", id="model twice"),
    pytest.param(
        {60: 'models = ["OV-V41"]'}, 60, "image[1].models[1]", "model-unknown", id="unknown model"
    ),
    pytest.param(
        {60: 'models = ["Q"]'}, 60, "image[1].models[1]", "model-missing", id="no such model"
    ),
    pytest.param(
        {60: 'models = ["OV-H4"]'}, 60, "image[1].models[1]", "type-not-of-model", id="no loader"
    ),
    pytest.param(
        {62: 'version = "3.10b"'}, 62, "image[1].version", "version-not-dotted", id="letter"
    ),
    pytest.param(
        {77: f'sha256 = "{DIGEST_1}"'}, 77, "image[2].sha256", "twice", id="digest of another"
    ),
    pytest.param(
        {85: '  { type = "configuration", at_least = "1" },'},
        *(85, "image[2].needs[1].type", "type-not-of-model"),
        id="need that the unit has not",
    ),
    pytest.param(
        {85: '  { type = "bootloader", at_least = "3.x" },'},
        *(85, "image[2].needs[1].at_least", "version-not-dotted"),
        id="need that cannot be compared",
    ),
    pytest.param(
        {86: '  { model = "OV-D8", type = "application", at_least = "5.2" },'},
        *(86, "image[2].needs[2].model", "model-unknown"),
        id="need of an unknown model",
    ),
    pytest.param(
        {86: '  { model = "OV-D9", type = "bootloader", at_least = "5.2" },'},
        *(86, "image[2].needs[2].type", "type-not-of-model"),
        id="need that the display has not",
    ),
    pytest.param(
        {86: '  { model = "OV-H4", type = "application", at_least = "2.40" },'},
        *(86, "image[2].needs[2].at_least", "version-not-listed"),
        id="need that is not listed",
    ),
    pytest.param(
        {88: 'from_versions = ["4.17", "four"]'},
        *(88, "image[2].from_versions[2]", "version-not-dotted"),
        id="start that cannot be compared",
    ),
    pytest.param(
        {89: 'carries = [{ model = "OV-D9", version = "2.41", mode = "m" }]'},
        *(89, "image[2].carries[1].model", "no-companion"),
        id="code for no companion",
    ),
    pytest.param(
        {89: 'carries = [{ model = "OV-X1", version = "2.41", mode = "m" }]'},
        *(89, "image[2].carries[1].model", "model-unknown"),
        id="code for an unknown model",
    ),
    pytest.param(
        {89: 'carries = [{ model = "OV-H4", version = "2.42", mode = "m" }]'},
        *(89, "image[2].carries[1].version", "version-not-listed"),
        id="carried version not listed",
    ),
    pytest.param(
        {89: 'carries = [{ model = "OV-H4", type = "bootloader", version = "2.41", mode = "m" }]'},
        *(89, "image[2].carries[1].type", "type-not-of-model"),
        id="carried type",
    ),
    pytest.param(
        {103: 'version = "4.30.0"', 110: ""}, 103, "image[3].version", "twice", id="two releases"
    ),
]


@pytest.mark.parametrize(("edits", "line", "key", "reason"), MISTAKES)
def test_mistakes(edits: dict[int, str], line: int, key: str, reason: str) -> None:
    (error,) = find_mistakes(with_lines(edits))
    assert error.reason == f"manifest.{reason}"
    assert (error.parameters["line"], error.parameters["key"]) == (line, key)
    assert refusal(error).message.count("(") == 1


@pytest.mark.parametrize(
    ("edits", "parameters"),
    [
        pytest.param({60: 'models = ["OV-V44"]'}, {"right": "OV-V40"}, id="nearest model"),
        pytest.param({77: f'sha256 = "{DIGEST_1}"'}, {"before": 65}, id="where it stands"),
        pytest.param({51: 'name = "OV-H4"', 86: ""}, {"before": 44}, id="where the model stands"),
        pytest.param(
            {103: 'version = "4.30"', 110: ""}, {"before": 74, "found": "OV-V40 4.30"}, id="release"
        ),
        pytest.param(
            {60: 'models = ["OV-H4"]'},
            {"found": "bootloader", "model": "OV-H4", "right": "application"},
            id="types of a model",
        ),
    ],
)
def test_what_would_be_right(edits: dict[int, str], parameters: dict[str, str | int]) -> None:
    (error,) = find_mistakes(with_lines(edits))
    assert {name: error.parameters.get(name) for name in parameters} == parameters


def test_a_display_that_is_no_model_may_be_needed() -> None:
    data = with_lines({50: "", 51: "", 52: "", 53: "", 54: ""})
    assert parse(data).images[1].needs[1].model == "OV-D9"
    (error,) = find_mistakes(data.replace(b'at_least = "5.2"', b'at_least = "5.2b"'))
    assert error.reason == "manifest.version-not-dotted"


def test_listed_versions_are_one_release_only_if_they_are_the_same() -> None:
    # 4.30 and 4.3 are two versions: the dots separate numbers. Source: cardprep/terms.py.
    assert find_mistakes(with_lines({103: 'version = "4.3"', 110: ""})) == ()


@pytest.mark.parametrize(
    "edits",
    [
        pytest.param({110: ""}, id="no longer withdrawn, another version"),
        pytest.param({103: 'version = "4.30"'}, id="withdrawn and issued anew"),
        pytest.param({100: LINES[70]}, id="one file name for two versions"),
        pytest.param({86: "", 15: 'model = "OV-D8"'}, id="display that is no model"),
    ],
)
def test_no_mistakes(edits: dict[int, str]) -> None:
    assert find_mistakes(with_lines(edits)) == ()
