"""Worlds that differ in structure, one small file each; the bench reports every one by itself."""

from listen.lab.simulator.worlds.about_shop import WORLD as SHOP
from listen.lab.simulator.worlds.about_shop import AboutShop
from listen.lab.simulator.worlds.bay import WORLD as BAY
from listen.lab.simulator.worlds.flow import WORLD as FLOW
from listen.lab.simulator.worlds.mouth import WORLD as MOUTH
from listen.lab.simulator.worlds.pipes import WORLD as PIPES
from listen.lab.simulator.worlds.pocket import WORLD as POCKET
from listen.lab.simulator.worlds.restless import WORLD as RESTLESS
from listen.lab.simulator.worlds.world import World
from listen.lab.simulator.worlds.worn import WORLD as WORN

_ALL: tuple[World | AboutShop, ...] = (SHOP, FLOW, MOUTH, BAY, PIPES, RESTLESS, WORN, POCKET)
WORLDS: dict[str, World | AboutShop] = {w.name: w for w in _ALL}
"""By name."""
