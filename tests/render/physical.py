"""The physical world: paths of light in 16 bands, traced by Mitsuba 3 through rough metal under a dyed film.

A surface is a clear layer of index n (a rough mirror with Fresnel's reflectance) over a rough mirror and an even
share, tinted by the film's double pass, 10^(-A (1/cos i + 1/cos o)) with the angles inside the film, and by what its
inner face throws back. Mitsuba finds what a ray meets, samples lamps, room and rough mirrors; which way a path goes
does not depend on the wavelength, so every path carries all bands. On a GPU where there is one (OptiX), else on the
CPU (needs LLVM).
"""

from functools import cache

import numpy as np

from tests.render.patterns import DIRT, SIZE
from tests.render.stage import frame_toward, set_stage

__all__ = ["draw_physical", "mitsuba", "mitsuba_scene", "trace", "unavailable"]

_DEPTH = 7
_BRIGHTEST = 12.0  # light of one path after its first bounce, perfect white being 1: fewer stray bright pixels


_OLDEST_LLVM = 16  # before it, the code that drjit writes does not compile


@cache
def unavailable():
    """Return why the physical world cannot be drawn here, "" if it can."""
    try:
        mi, _ = mitsuba()
    except ImportError:
        return "Mitsuba is not installed: pip install -e '.[render]'"
    if mi.variant().startswith("llvm"):
        import drjit as dr

        try:
            version = dr.detail.llvm_version()[0]
        except Exception as error:  # noqa: BLE001  drjit's own, several kinds
            return f"no LLVM library: {error}"
        if version < _OLDEST_LLVM:
            return f"LLVM {version} is too old, at least {_OLDEST_LLVM} is needed: DRJIT_LIBLLVM_PATH may name another"
    return ""


@cache
def mitsuba():
    """Return Mitsuba, on the GPU where it can, and what traces paths with it."""
    import drjit as dr
    import mitsuba as mi

    try:
        mi.set_variant("cuda_ad_rgb")
        dr.eval(mi.Float(0))
    except Exception:  # noqa: BLE001  no GPU, or none that it can use
        mi.set_variant("llvm_ad_rgb")
    from tests.render import paths

    return mi, paths


def mitsuba_scene(stage):
    """Mitsuba's scene: one mesh, the sources, the room."""
    mi, _ = mitsuba()
    count = len(stage.points)
    mesh = mi.Mesh("things", 3 * count, count, has_vertex_normals=True, has_vertex_texcoords=True)
    params = mi.traverse(mesh)
    params["vertex_positions"] = stage.points.ravel()
    params["vertex_normals"] = stage.normals.ravel()
    params["vertex_texcoords"] = stage.uv.ravel()
    params["faces"] = np.arange(3 * count, dtype=np.uint32)
    params.update()
    plan = {"type": "scene", "things": mesh}
    room = np.repeat(stage.room[..., None], 3, axis=2).astype(np.float32)
    turn = mi.ScalarTransform4f().rotate([1, 0, 0], 90)
    plan["room"] = {"type": "envmap", "bitmap": mi.Bitmap(room), "to_world": turn}
    for number, source in enumerate(stage.sources):
        emitter = {"type": "area", "radiance": {"type": "rgb", "value": source.power}}
        at = list(source.at)
        if source.kind == "sphere":
            plan[f"lamp{number}"] = {"type": "sphere", "center": at, "radius": source.size[0], "emitter": emitter}
            continue
        ahead, side, up = frame_toward(np.array(source.at), np.array(source.aim))
        matrix = np.eye(4)
        matrix[:3] = np.stack([side * source.size[0], up * source.size[1], np.cross(side, up), source.at], axis=1)
        if matrix[:3, 2] @ ahead < 0:
            matrix[:3, 0] *= -1
            matrix[:3, 2] *= -1
        place = mi.ScalarTransform4f(matrix)
        plan[f"lamp{number}"] = {"type": "rectangle", "to_world": place, "emitter": emitter}
    return mi.load_dict(plan)


def trace(stage, spp=64, seed=0, depth=_DEPTH):
    """Return the light (H, W, 16) that reaches the camera, 1 for perfect white in the bench's own light."""
    _, paths = mitsuba()
    return paths.trace(mitsuba_scene(stage), stage, spp, seed, depth, _BRIGHTEST, DIRT, SIZE)


def draw_physical(spec, spp=128):
    """Return light (H, W, 16); the thing at 3 × 3 places in a pixel, -1 for none; uv, normals; stage."""
    _, paths = mitsuba()
    stage = set_stage(spec)
    scene = mitsuba_scene(stage)
    light = paths.trace(scene, stage, spp, spec.seed, _DEPTH, _BRIGHTEST, DIRT, SIZE)
    return light, *paths.look(scene, stage, 3), stage
