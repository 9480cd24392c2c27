"""More parts of the farm's bench, each with something that makes it hard to lay on itself."""

import numpy as np

from inbox_demo import simulated as sim
from inbox_demo.simulated import Shape


def gate_hinge() -> Shape:
    """A leaf with three screw bores in a bent row and a knuckle along one edge."""

    def distance(p):
        leaf = sim.intersect(sim.box2(p, (0, 0), (70, 40)), sim.slab(p[:, 2], 0.0, 5.0))
        turned = p[:, [1, 2, 0]]
        knuckle = sim.intersect(sim.disc(turned, (22, 5), 7.0), sim.slab(turned[:, 2], -35.0, 10.0))
        solid = sim.unite(leaf, knuckle)
        for centre in ((-25, -8), (0, -12), (26, -6)):
            solid = sim.cut(solid, sim.bore(p, centre, 5.0))
        return sim.cut(solid, sim.bore(turned, (22, 5), 8.0))

    return Shape("gate_hinge", distance, (-36, -21, -3), (36, 30, 13))


def feed_auger_cap() -> Shape:
    """A round cap whose spin is fixed by a key and one off-centre bore alone."""

    def distance(p):
        disc = sim.intersect(sim.disc(p, (0, 0), 30.0), sim.slab(p[:, 2], 0.0, 10.0))
        hub = sim.intersect(sim.disc(p, (0, 0), 12.0), sim.slab(p[:, 2], 5.0, 22.0))
        key = sim.intersect(sim.box2(p, (28, 0), (10, 8)), sim.slab(p[:, 2], 0.0, 6.0))
        solid = sim.cut(sim.unite(disc, hub, key), sim.bore(p, (0, 0), 9.0))
        return sim.cut(solid, sim.bore(p, (6, 20), 6.0))

    return Shape("feed_auger_cap", distance, (-31, -31, -1), (34, 31, 23))


def trough_bracket() -> Shape:
    """An angle with a rib on one side and unequal legs."""

    def distance(p):
        turned = p[:, [1, 2, 0]]
        foot = sim.intersect(sim.box2(p, (20, 0), (52, 30)), sim.slab(p[:, 2], 0.0, 4.0))
        leg = sim.intersect(sim.box2(turned, (0, 17), (30, 34)), sim.slab(turned[:, 2], -6.0, -2.0))
        rib = sim.intersect(sim.box2(p, (12, 8), (30, 4)), sim.slab(p[:, 2], 2.0, 16.0))
        solid = sim.unite(foot, leg, rib)
        solid = sim.cut(sim.cut(solid, sim.bore(p, (36, -6), 5.5)), sim.bore(p, (18, -6), 4.0))
        return sim.cut(solid, sim.bore(turned, (-4, 24), 6.5))

    return Shape("trough_bracket", distance, (-8, -16, -1), (47, 16, 36))


def near_twin() -> Shape:
    """A rail that half a turn lays on itself but for one boss, 6 mm across and 2 mm high."""

    def distance(p):
        rail = sim.intersect(sim.box2(p, (0, 0), (120, 26)), sim.slab(p[:, 2], 0.0, 9.0))
        boss = sim.intersect(sim.disc(p, (40, 5), 3.0), sim.slab(p[:, 2], 5.0, 11.0))
        solid = sim.unite(rail, boss)
        return sim.cut(sim.cut(solid, sim.bore(p, (-45, 0), 6.0)), sim.bore(p, (45, 0), 6.0))

    return Shape("near_twin", distance, (-61, -14, -1), (61, 14, 12))


def pump_cover() -> Shape:
    """A shallow box, open below, with two bosses inside and one outside: much of it faces itself."""

    def distance(p):
        outer = sim.intersect(sim.box2(p, (0, 0), (64, 44)), sim.slab(p[:, 2], 0.0, 18.0))
        inner = sim.intersect(sim.box2(p, (0, 0), (58, 38)), sim.slab(p[:, 2], -5.0, 15.0))
        solid = sim.cut(outer, inner)
        for centre, low, high in (((-18, 8), 6.0, 16.0), ((16, -9), 6.0, 16.0), ((14, 6), 16.0, 24.0)):
            solid = sim.unite(solid, sim.intersect(sim.disc(p, centre, 5.0), sim.slab(p[:, 2], low, high)))
        return sim.cut(solid, sim.bore(p, (-18, 8), 4.0))

    return Shape("pump_cover", distance, (-33, -23, -1), (33, 23, 25))


def curved_handle() -> Shape:
    """A grip bent along an arc: few flats, no straight side."""

    def distance(p):
        radius = np.hypot(p[:, 0], p[:, 1])
        angle = np.arctan2(p[:, 1], p[:, 0])
        thick = 6.0 + 2.0 * angle
        along = np.maximum(np.abs(angle) - 1.1, 0.0) * 60.0
        ring = np.sqrt((radius - 60.0) ** 2 + 1.6 * p[:, 2] ** 2 + along**2) - thick
        return sim.cut(0.7 * ring, sim.bore(p, (60 * np.cos(0.9), 60 * np.sin(0.9)), 4.5))

    return Shape("curved_handle", distance, (15, -70, -10), (72, 70, 10))


PARTS = {
    make.__name__: make for make in (gate_hinge, feed_auger_cap, trough_bracket, near_twin, pump_cover, curved_handle)
}
