"""Colours: read in sunlight, apart for colour-blind eyes, and the same in every place that names them."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from itertools import combinations

import numpy as np
import pytest

from energy.commands.app import app_files
from energy.pictures.palette import DARK, FONT, LIGHT, Palette, style_variables


def _linear(colour: str) -> np.ndarray:
    share = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Relative luminance and contrast ratio after WCAG 2.2 (definitions in its glossary; from memory)."""
    light, dark = sorted((float(_linear(c) @ (0.2126, 0.7152, 0.0722)) for c in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


# Linear RGB as a dichromat sees it: Machado, Oliveira and Fernandes 2009 ("A Physiologically-based Model for Simulation
# of Color Vision Deficiency"), severity 1.0, their published matrices (from memory; rows sum to 1).
DICHROMATS = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def _lab(linear: np.ndarray) -> np.ndarray:
    """CIE L*a*b* (ISO/CIE 11664-4) of linear sRGB under D65 (IEC 61966-2-1)."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = to_xyz @ np.clip(linear, 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_texts_stand_at_seven_to_one_on_their_grounds(palette: Palette) -> None:
    for text in (palette.ink, palette.soft, palette.cost, palette.gain, palette.blue, palette.danger):
        assert contrast(text, palette.paper) >= 7, text
    for text in (palette.ink, palette.soft, palette.blue):
        assert contrast(text, palette.card) >= 7, text
    assert contrast(palette.danger, palette.danger_paper) >= 7
    for ground in (palette.danger_paper, palette.caution_paper):
        assert contrast(palette.ink, ground) >= 7
    assert contrast(palette.line, palette.paper) >= 3  # frames of fields: WCAG 2.2, 1.4.11


@pytest.mark.parametrize("palette", [LIGHT, DARK])
@pytest.mark.parametrize("eyes", DICHROMATS)
def test_what_is_told_apart_by_colour_is_apart_for_every_eye(palette: Palette, eyes: str) -> None:
    seen = {name: np.array(DICHROMATS[eyes]) @ _linear(getattr(palette, name)) for name in ("cost", "gain", "blue")}
    for (one, first), (other, second) in combinations(seen.items(), 2):
        if {one, other} == {"gain", "blue"}:
            continue  # never in one picture
        assert float(np.linalg.norm(_lab(first) - _lab(second))) > 10, (one, other)
    for pair in ("cost", "gain"):  # the two bars of one range
        inner, outer = (np.array(DICHROMATS[eyes]) @ _linear(getattr(palette, n)) for n in (pair, f"{pair}_soft"))
        assert abs(_lab(inner)[0] - _lab(outer)[0]) > 20, pair


def test_the_apps_settings_hold_the_same_colours_and_type() -> None:
    _, config = app_files()
    theme = tomllib.loads(config.read_text(encoding="utf-8"))["theme"]
    assert theme["font"].replace("'", '"') == FONT
    for name, palette in (("light", LIGHT), ("dark", DARK)):
        assert theme[name] == {
            "primaryColor": palette.blue,
            "backgroundColor": palette.paper,
            "secondaryBackgroundColor": palette.card,
            "textColor": palette.ink,
            "linkColor": palette.blue,
            "borderColor": palette.line,
        }
    assert (config.parent.parent / "energy" / "screens" / "atkinson_hyperlegible_next.woff2").is_file()


def test_every_colour_is_a_variable_of_both_themes() -> None:
    style = style_variables()
    for field in fields(Palette):
        name = field.name.replace("_", "-")
        assert f"--wt-{name}: light-dark({getattr(LIGHT, field.name)}, {getattr(DARK, field.name)});" in style
