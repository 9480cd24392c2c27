"""Two more invented parts for the studies of truth, each over 300 mm long; signed distances as in the simulator."""

import numpy as np

from inbox_demo import simulated as sim
from verifier.mesh import Array


def trough_arm() -> sim.Shape:
    """Arm of a tip trough: 340 long, tapered, a hub of 30 at the pivot, three bores."""

    def distance(p: Array) -> Array:
        body = sim.intersect(sim.tapered_bar(p, (0, 0), (305, 0), 20.0, 15.0), sim.slab(p[:, 2], 0.0, 10.0))
        hub = sim.intersect(sim.disc(p, (0, 0), 15.0), sim.slab(p[:, 2], 5.0, 22.0))
        solid = sim.unite(body, hub)
        for centre, diameter in (((0, 0), 12.0), ((150, 0), 6.4), ((305, 0), 8.0)):
            solid = sim.cut(solid, sim.bore(p, centre, diameter))
        return solid

    truth = {
        "length": 340.0,
        "width": 40.0,
        "height": 22.0,
        "plate": 10.0,
        "hub step": 12.0,
        "hub": 30.0,
        "pivot": 12.0,
        "middle": 6.4,
        "tip": 8.0,
        "pivot to middle": 150.0,
        "middle to tip": 155.0,
        "pivot to tip": 305.0,
    }
    return sim.Shape("trough_arm", distance, (-21, -21, -1), (321, 21, 23), truth)


def hurdle_rail() -> sim.Shape:
    """Rail of a sheep hurdle: 312 x 36 x 14 with square ends, a block of 26 x 36 at one end, four bores and a pin."""

    def distance(p: Array) -> Array:
        rail = sim.intersect(sim.box2(p, (0, 0), (312, 36)), sim.slab(p[:, 2], 0.0, 14.0))
        block = sim.intersect(sim.box2(p, (143, 0), (26, 36)), sim.slab(p[:, 2], 2.0, 30.0))
        pin = sim.intersect(sim.disc(p, (40, 4), 5.0), sim.slab(p[:, 2], 5.0, 24.0))
        solid = sim.unite(rail, block, pin)
        for centre, diameter in (((-146, 8), 5.0), ((-146, -9), 5.0), ((-30, 0), 10.0), ((110, 3), 6.0)):
            solid = sim.cut(solid, sim.bore(p, centre, diameter))
        return solid

    truth = {
        "length": 312.0,
        "width": 36.0,
        "height": 30.0,
        "rail": 14.0,
        "block": 26.0,
        "block step": 16.0,
        "pin": 10.0,
        "upper screw": 5.0,
        "lower screw": 5.0,
        "rope": 10.0,
        "stay": 6.0,
        "upper screw to lower screw": 17.0,
        "upper screw to rope": float(np.hypot(116, 8)),
        "lower screw to rope": float(np.hypot(116, 9)),
        "rope to stay": float(np.hypot(140, 3)),
        "upper screw to stay": float(np.hypot(256, 5)),
        "pin to rope": float(np.hypot(70, 4)),
        "upper screw to end": 10.0,
    }
    return sim.Shape("hurdle_rail", distance, (-158, -20, -1), (158, 20, 32), truth)
