"""The physical world: paths of light in 16 bands, traced by Mitsuba 3 through rough metal under a dyed film.

A surface is a clear layer of index n (a rough mirror with Fresnel's reflectance) over a rough mirror and an even
share, tinted by the film's double pass, 10^(-A (1/cos i + 1/cos o)) with the angles inside the film, and by what its
inner face throws back. Mitsuba finds what a ray meets, samples lamps, room and rough mirrors; which way a path goes
does not depend on the wavelength, so every path carries all bands. On a GPU where there is one (OptiX), else on the
CPU (needs LLVM). Importing this needs `pip install -e '.[render]'`.
"""

import drjit as dr
import mitsuba as mi
import numpy as np

from tests.render.patterns import DIRT
from tests.render.spectra import sensor_weights
from tests.render.stage import Stage, frame_toward

try:
    mi.set_variant("cuda_ad_rgb")
    dr.eval(mi.Float(0))
except Exception:  # noqa: BLE001  no GPU, or none that it can use
    mi.set_variant("llvm_ad_rgb")

Band = mi.Vector4f
_DEPTH = 7
_BRIGHTEST = 12.0  # light of one path after its first bounce, perfect white being 1: fewer stray bright pixels
_LN10 = float(np.log(10))


def mitsuba_scene(stage):
    """Mitsuba's scene: one mesh, the sources, the room."""
    count = len(stage.points)
    mesh = mi.Mesh("things", 3 * count, count, has_vertex_normals=True, has_vertex_texcoords=True)
    params = mi.traverse(mesh)
    params["vertex_positions"] = stage.points.ravel()
    params["vertex_normals"] = stage.normals.ravel()
    params["vertex_texcoords"] = stage.uv.ravel()
    params["faces"] = np.arange(3 * count, dtype=np.uint32)
    params.update()
    room, place = mi.Bitmap(np.repeat(stage.room[..., None], 3, axis=2).astype(np.float32)), mi.ScalarTransform4f()
    plan = {"type": "scene", "things": mesh}
    plan["room"] = {"type": "envmap", "bitmap": room, "to_world": place.rotate([1, 0, 0], 90)}
    for number, source in enumerate(stage.sources):
        emitter = {"type": "area", "radiance": {"type": "rgb", "value": source.power}}
        if source.kind == "sphere":
            form = {"type": "sphere", "center": list(source.at), "radius": source.size[0]}
        else:
            _, _, up = frame_toward(source.at, source.aim)
            facing = place.look_at(list(source.at), list(source.aim), list(up))
            form = {"type": "rectangle", "to_world": facing @ place.scale([*source.size, 1])}
        plan[f"lamp{number}"] = form | {"emitter": emitter}
    return mi.load_dict(plan)


def _camera_ray(camera, x, y):
    ahead = mi.Vector3f(*map(float, camera.ahead)) * camera.focal
    ahead += mi.Vector3f(*map(float, camera.right)) * (x - camera.size[0] / 2)
    ahead -= mi.Vector3f(*map(float, camera.up)) * (y - camera.size[1] / 2)
    return mi.Ray3f(mi.Point3f(*map(float, camera.eye)), dr.normalize(ahead))


class _Materials:
    """The stage's table and layers as buffers."""

    def __init__(self, stage):
        self.table, self.owner, self.count = mi.Float(stage.table.ravel()), mi.UInt32(stage.owner), len(stage.layers)
        # bilinear, mirrored beyond 0..1; between two layers nothing is ever read
        layers = mi.TensorXf(np.ascontiguousarray(stage.layers))
        self.layers = mi.Texture3f(layers, use_accel=False, wrap_mode=dr.WrapMode.Mirror)
        dr.make_opaque(self.table, self.owner)


class _Surface:
    """One hit's materials and shading frame; value and density of scattering, and sampling."""

    def __init__(self, materials, si, active):
        row = dr.gather(mi.UInt32, materials.owner, si.prim_index, active) * 18
        take = lambda k: dr.gather(Band, materials.table, row + k, active)  # noqa: E731
        shape, clear = take(16), take(17)
        place = mi.Point3f(si.uv.x, si.uv.y, (dr.maximum(clear.w, 0) + 0.5) / materials.count)
        mix, self.dust, along, across = materials.layers.eval(place, active & (clear.w >= 0))
        self.body = [dr.lerp(take(k), take(8 + k), mix) for k in range(4)]
        self.dye = [dr.lerp(take(4 + k), take(12 + k), mix) for k in range(4)]
        frame = si.sh_frame
        n = dr.normalize(frame.n - along * frame.s - across * frame.t)
        s = dr.normalize(frame.s - n * dr.dot(frame.s, n))
        self.frame = mi.Frame3f(s, dr.cross(n, s), n)
        self.even, self.index = shape.z, shape.w
        self.r0, self.veil = clear.y, clear.z
        self.metal = mi.MicrofacetDistribution(mi.MicrofacetType.GGX, shape.x, shape.y, True)
        self.gloss = mi.MicrofacetDistribution(mi.MicrofacetType.GGX, clear.x, clear.x, True)
        self.to_gloss = dr.select(self.index > 1.0001, 0.25, 0.0)
        self.to_even = dr.minimum(dr.maximum(self.even + self.dust, 0.05), 1) * (1 - self.to_gloss)
        self.to_metal = dr.select(self.even < 0.999, 1 - self.to_gloss - self.to_even, 0)
        self.to_even = 1 - self.to_gloss - self.to_metal

    def _fresnel(self, cosine):
        return dr.select(self.index > 1.0001, mi.fresnel(dr.abs(cosine), dr.maximum(self.index, 1.0001))[0], 0)

    def evaluate(self, wi, wo):
        """Value times cosine in bands, and density, both 0 where a direction is below the surface."""
        ci, co = wi.z, wo.z
        up = (ci > 1e-4) & (co > 1e-4)
        half = dr.normalize(wi + wo)
        toward = dr.dot(wi, half)
        mirror = lambda d: d.eval(half) * d.G(wi, wo, half) / (4 * ci)  # noqa: E731
        density = lambda d: d.pdf(wi, half) / (4 * toward)  # noqa: E731
        gloss = mirror(self.gloss) * self._fresnel(toward)
        kept = (1 - self._fresnel(ci)) * (1 - self._fresnel(co))
        below = kept * (dr.select(self.to_metal > 0, (1 - self.even) * mirror(self.metal), 0) + self.even * co / dr.pi)
        bend = lambda c: dr.rsqrt(1 - (1 - c * c) / dr.square(dr.maximum(self.index, 1.0001)))  # noqa: E731
        way = bend(ci) + bend(co)
        bands = []
        for body, dye in zip(self.body, self.dye, strict=True):
            passed = body * dr.exp(-_LN10 * way * dye)
            seen = below * passed / (1 - self.r0 * passed) + gloss + self.veil * co / dr.pi
            bands.append(dr.select(up, dr.lerp(seen, Band(DIRT) * co / dr.pi, self.dust), 0))
        pdf = self.to_even * co / dr.pi
        pdf += dr.select(self.to_metal > 0, self.to_metal * density(self.metal), 0)
        pdf += dr.select(self.to_gloss > 0, self.to_gloss * density(self.gloss), 0)
        return bands, dr.select(up, pdf, 0)

    def sample(self, wi, which, point):
        gloss, _ = self.gloss.sample(wi, point)
        metal, _ = self.metal.sample(wi, point)
        half = dr.select(which < self.to_gloss, gloss, metal)
        wo = 2 * dr.dot(wi, half) * half - wi
        return dr.select(which < self.to_gloss + self.to_metal, wo, mi.warp.square_to_cosine_hemisphere(point))


def _walk(scene, camera, materials, spp, seed, count):
    """Light of `count` pixels in four times four bands; each thread follows one pixel's paths one after the other."""
    index = dr.arange(mi.UInt32, count)
    column, line = mi.Float(index % camera.size[0]), mi.Float(index // camera.size[0])
    limit = dr.opaque(mi.UInt32, spp)

    def step(sample, depth, rng, ray, total, beta, before, density):
        fresh = depth == 0
        start = _camera_ray(camera, column + rng.next_float32(), line + rng.next_float32())
        ray = mi.Ray3f(dr.select(fresh, start.o, ray.o), dr.select(fresh, start.d, ray.d))
        beta = [dr.select(fresh, Band(1), b) for b in beta]

        def added(light):
            return [t + dr.select(fresh, one, dr.minimum(one, _BRIGHTEST)) for t, one in zip(total, light, strict=True)]

        si = scene.ray_intersect(ray)
        emitter = si.emitter(scene)
        shines = emitter != None  # noqa: E711  a pointer that may be null
        came = dr.zeros(mi.Interaction3f, count)
        came.p = before
        other = scene.pdf_emitter_direction(came, mi.DirectionSample3f(scene, si, came), shines)
        glow = dr.select(shines, emitter.eval(si, shines).x, 0) * dr.select(fresh, 1, _share(density, other))
        total = added([b * glow for b in beta])

        faces = dr.dot(si.n, ray.d) < 0
        hit = si.is_valid() & ~shines & (depth < _DEPTH) & faces
        surface = _Surface(materials, si, hit)
        wi = surface.frame.to_local(-ray.d)
        place = mi.Point2f(rng.next_float32(), rng.next_float32())
        lamp, radiance = scene.sample_emitter_direction(si, place, True, hit)
        bands, chance = surface.evaluate(wi, surface.frame.to_local(lamp.d))
        lit = hit & (lamp.pdf > 0) & (dr.dot(si.n, lamp.d) > 0)
        shone = dr.select(lit, radiance.x * _share(lamp.pdf, chance), 0)
        total = added([b * f * shone for b, f in zip(beta, bands, strict=True)])

        wo = surface.sample(wi, rng.next_float32(), mi.Point2f(rng.next_float32(), rng.next_float32()))
        bands, density = surface.evaluate(wi, wo)
        onward = surface.frame.to_world(wo)
        alive = hit & (density > 0) & (dr.dot(si.n, onward) > 0)
        beta = [dr.select(alive, b * f / dr.maximum(density, 1e-20), 0) for b, f in zip(beta, bands, strict=True)]
        alive &= dr.any(beta[0] + beta[1] + beta[2] + beta[3] > 1e-3)
        depth = dr.select(alive, depth + 1, 0)
        sample = sample + dr.select(alive, mi.UInt32(0), mi.UInt32(1))
        return sample, depth, rng, si.spawn_ray(onward), total, beta, mi.Point3f(si.p), density

    nought = dr.zeros(mi.UInt32, count)
    dark, bright = ([dr.full(Band, value, count) for _ in range(4)] for value in (0, 1))
    state = (nought, nought, mi.PCG32(size=count, initstate=seed), _camera_ray(camera, column, line))
    state += (dark, bright, dr.zeros(mi.Point3f, count), dr.zeros(mi.Float, count))
    return dr.while_loop(state, lambda sample, *_: sample < limit, step)[4]


def _share(density, other):
    """Weight of a sample that another strategy could have taken: the power heuristic."""
    return density * density / dr.maximum(density * density + other * other, 1e-20)


def trace(stage, spp=64, seed=0, scene=None):
    """Return the light (H, W, 16) that reaches the camera, 1 for perfect white in the bench's own light."""
    width, height = stage.camera.size
    scene = scene or mitsuba_scene(stage)
    total = _walk(scene, stage.camera, _Materials(stage), spp, dr.opaque(mi.UInt64, seed), width * height)
    dr.eval(total)
    return np.concatenate([np.array(t).T for t in total], axis=1).reshape(height, width, 16) / spp


def look(scene, stage, fine):
    """Return the thing at each of fine × fine places in a pixel, and uv in each pixel's middle."""
    width, height = (side * fine for side in stage.camera.size)
    index = dr.arange(mi.UInt32, width * height)
    x, y = (mi.Float(index % width) + 0.5) / fine, (mi.Float(index // width) + 0.5) / fine
    si = scene.ray_intersect(_camera_ray(stage.camera, x, y))
    things = si.is_valid() & (si.emitter(scene) == None)  # noqa: E711
    owner = dr.select(things, mi.Int32(dr.gather(mi.UInt32, mi.UInt32(stage.owner), si.prim_index, things)), -1)
    middle = slice(fine // 2, None, fine)
    return np.array(owner).reshape(height, width), np.array(si.uv).T.reshape(height, width, 2)[middle, middle]


def draw_physical(spec, spp=128):
    """Return sensor light (H, W, 3); the thing at 3 × 3 places in a pixel, -1 for none; uv; stage."""
    stage = Stage(spec)
    scene = mitsuba_scene(stage)
    light = trace(stage, spp, spec.seed, scene) @ sensor_weights(spec.camera, spec.light.spectrum)
    return light.astype(np.float32), *look(scene, stage, 3), stage
