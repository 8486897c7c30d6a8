"""Both worlds against closed forms, before they check anything."""

from dataclasses import replace

import numpy as np
import pytest

from dyebook.lab import delta_e_00
from dyebook.physics.optics import film_reflectance as closed_film
from dyebook.physics.optics import reflectance_to_lab
from tests.render.plan import KINDS, make_scenes, random_film
from tests.render.scene import FINISHES, Film, Finish, Light, Paint, SceneSpec, Thing, View, shaped
from tests.render.simple import draw_simple
from tests.render.spectra import (
    DYES,
    KNOTS_NM,
    NM,
    absorbance,
    film_readings,
    film_reflectance,
    reflectance_lab,
    sensor_weights,
)
from tests.render.stage import Camera, Stage

OLDEST_LLVM = 16  # before it, the code that drjit writes does not compile
VIEW = View(32, 24, 30.0, 8.0, 90.0, 800.0)
ORANGE, BLUE = Film(DYES["orange"], 0.6), Film(DYES["blue"], 0.9, 0.8, 0.006)
PLATE = shaped("plate", half_x=60.0, half_y=60.0)
ROD = shaped("rod", length=60.0, radius=9.0)


@pytest.fixture
def physical():
    """The physical world, where it can be drawn."""
    pytest.importorskip("mitsuba", reason="Mitsuba is not installed: pip install -e '.[render]'")
    from tests.render import physical

    if physical.mi.variant().startswith("llvm"):
        try:
            version = physical.dr.detail.llvm_version()[0]
        except Exception as error:  # noqa: BLE001  drjit's own, several kinds
            pytest.skip(f"no LLVM library: {error}")
        if version < OLDEST_LLVM:
            pytest.skip(f"LLVM {version} is too old, {OLDEST_LLVM} is needed: DRJIT_LIBLLVM_PATH may name another")
    return physical


def plain(name):
    """A finish without its grain."""
    return replace(FINISHES[name], name="")


def alone(shape, material, finish, light="even", view=VIEW):
    """A scene of one thing in a light, nothing else."""
    return SceneSpec(view=view, light=Light(light, "D65", 0.0), things=(Thing(shape, material, finish, role="part"),))


def spectrum(bands):
    """Bands (..., 16) on the fine grid: what the ideal camera's weights assume."""
    from scipy.interpolate import CubicSpline

    return CubicSpline(KNOTS_NM, bands, axis=-1, bc_type="natural")(np.clip(NM, 400, 700))


def test_even_light_on_an_even_body_gives_the_body_back(physical):
    spec = alone(ROD, Paint(tuple([0.6] * 81)), plain("paint"))
    light = physical.trace(Stage(spec, alone=True), spp=2048)
    assert light[10:14].mean() == pytest.approx(0.6, rel=0.002)


@pytest.mark.parametrize("name", ["satin", "blasted", "brushed", "polished", "glossy paint"])
def test_energy_is_never_gained(physical, name):
    white = Film((), 0.0, 1.0, 0.0) if "paint" not in name else Paint(tuple([1.0] * 81))
    spec = alone(ROD, white, plain(name))
    stage = Stage(spec, alone=True)
    stage.table[:, :16] = 1.0  # not even the metal takes any
    seen = physical.trace(stage, spp=512)
    assert seen.mean(axis=(1, 2)).max() < 1.002  # noise of one row
    assert seen[10:14].mean() > 0.75


@pytest.mark.parametrize("film", [ORANGE, BLUE], ids=["orange", "blue"])
@pytest.mark.parametrize("name", ["satin", "blasted", "brushed", "polished"])
def test_flat_pieces_read_what_a_sphere_reads(physical, film, name):
    finish = plain(name)
    bands = physical.trace(Stage(alone(PLATE, film, finish), alone=True), spp=1024).mean(axis=(0, 1))
    assert delta_e_00(film_readings(film, finish)["lab_sci"], reflectance_lab(spectrum(bands))) < 0.1


def test_a_smooth_flat_film_is_the_houses_own_closed_form():
    finish, nm = Finish(0.01, 0.01, 0.0, 1.62, 0.01), np.arange(400.0, 701.0, 10.0)
    film, gloss, _ = film_reflectance(replace(ORANGE, veil=0.0, metal=1.0), finish)
    ours = reflectance_lab(film + gloss)
    theirs = reflectance_to_lab(closed_film(absorbance(ORANGE, nm), outer=((1.62 - 1) / 2.62) ** 2))
    assert delta_e_00(theirs, ours) < 0.4  # 8° and the spectrum's ends beyond 400 and 700 nm make the rest


def test_a_lamp_on_a_cylinder_falls_as_the_cosine(physical):
    spec = alone(ROD, Paint(tuple([0.5] * 81)), plain("paint"), "lamp", View(48, 36, 40.0, 0.0, 90.0, 800.0))
    spec = replace(spec, light=replace(spec.light, room=1e-9, size_mm=60.0))
    stage = Stage(spec, alone=True)
    (lamp,), camera = stage.sources, Camera(spec.view)
    right, up = np.arange(48) + 0.5 - 24, 18 - (np.arange(36) + 0.5)
    height = np.full(36, 18.0)
    for _ in range(30):  # where each line of pixels meets the cylinder
        y = up / camera.focal * (800 - height)
        height = 9 + np.sqrt(np.clip(81 - y**2, 0, None))
    x = right[None, :] / camera.focal * (800 - height[:, None])
    normal = np.stack([0 * y, y, height - 9], axis=1) / 9
    toward = np.array(lamp.at) - np.stack(np.broadcast_arrays(x, y[:, None], height[:, None]), axis=-1)
    away = np.linalg.norm(toward, axis=-1)
    cosine = np.einsum("rci,ri->rc", toward, normal) / away
    true = (0.5 * lamp.power * (lamp.size[0] / away) ** 2 * cosine).mean(axis=1)
    lit = (np.abs(y) < 7.5) & (cosine.min(axis=1) > 0.15)  # the whole lamp is above the horizon
    assert lit.sum() > 6
    assert physical.trace(stage, spp=2048)[..., 0].mean(axis=1)[lit] == pytest.approx(true[lit], rel=0.01)


def test_a_bright_rod_is_as_another_path_tracer_draws_it(physical):
    mi = physical.mi
    spec = alone(
        ROD, Film((), 0.0, 0.8, 0.0), Finish(0.25, 0.25, 0.0, 1.0, 1.0), "tent", View(48, 36, 60.0, 8.0, 90.0, 800.0)
    )
    stage = Stage(spec, alone=True)
    stage.table[:, :16] = 0.8
    scene, camera = physical.mitsuba_scene(stage), stage.camera
    mesh = scene.shapes()[0]
    mesh.set_bsdf(
        mi.load_dict(
            {
                "type": "roughconductor",
                "material": "none",
                "distribution": "ggx",
                "alpha": 0.25,
                "specular_reflectance": {"type": "rgb", "value": 0.8},
            }
        )
    )
    look = mi.ScalarTransform4f().look_at(list(camera.eye), [0, 0, 0], list(camera.up))
    fov = float(np.degrees(2 * np.arctan(camera.size[0] / 2 / camera.focal)))
    film = {"type": "hdrfilm", "width": 48, "height": 36, "rfilter": {"type": "box"}}
    eye = mi.load_dict({"type": "perspective", "to_world": look, "fov": fov, "film": film})
    other = np.array(mi.render(scene, sensor=eye, integrator=mi.load_dict({"type": "path", "max_depth": 8}), spp=512))[
        ..., 0
    ]
    ours = physical.trace(stage, spp=512)[..., 0]
    assert ours.mean() == pytest.approx(other.mean(), rel=0.005)
    assert np.abs(ours - other).mean() < 0.02 * other.mean()


@pytest.mark.parametrize("name", ["satin", "polished", "paint"])
def test_flat_pieces_of_the_simple_world_read_what_a_sphere_reads(name):
    finish, material = plain(name), Paint(tuple([0.4] * 81)) if name == "paint" else ORANGE
    light, *_ = draw_simple(alone(PLATE, material, finish), alone=True)
    film, gloss, _ = film_reflectance(material, finish)
    true = (film + gloss) @ sensor_weights("ideal", "D65", fine=True)
    assert light[8:16, 8:24].mean(axis=(0, 1)) == pytest.approx(true, rel=0.02)


def test_the_simple_world_gains_no_energy():
    for name in FINISHES:
        light, owner, *_ = draw_simple(alone(ROD, Paint(tuple([1.0] * 81)), plain(name)), alone=True)
        assert light[owner[1::3, 1::3] == 0].max() <= 1.06  # the whole gloss at grazing angles lies over a white body
    flat, *_ = draw_simple(alone(PLATE, Film((), 0.0, 1.0, 0.0), plain("satin")), alone=True)
    assert flat.max() <= 1


@pytest.mark.parametrize("kind", KINDS)
def test_scenes_are_the_same_for_the_same_seed(kind):
    one, again = make_scenes(5, kind), make_scenes(5, kind)
    assert one == again
    assert all(spec.card or spec.kind == "chart" for spec in one)
    assert len({spec.setup for spec in one}) == 1


def test_bands_stand_for_spectra():
    rng = np.random.default_rng(2)
    films = [random_film(rng) for _ in range(60)]
    fine = np.array([film_reflectance(film, FINISHES["satin"])[0] for film in films])
    coarse = np.array([np.interp(KNOTS_NM, NM, row) for row in fine])
    weights = sensor_weights("reflex", "FL11"), sensor_weights("reflex", "FL11", fine=True)
    assert coarse @ weights[0] == pytest.approx(fine @ weights[1], abs=0.004)
    assert delta_e_00(reflectance_lab(fine), reflectance_lab(spectrum(coarse))).max() < 0.3


@pytest.mark.parametrize("seed", [10, 16, 20])
def test_the_photographer_does_not_stand_in_the_picture(seed):
    # what lies behind the camera was once painted over these benches
    spec = make_scenes(seed, "parts", 160, 120)[0]
    owner = draw_simple(spec)[1]
    assert owner.max() == len(spec.things)  # the bench; whoever holds the camera comes after it
