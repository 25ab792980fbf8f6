"""An invented rig, after which the tests of this folder change one thing at a time."""

import pytest

INVENTED_RIG = """\
# Ossel Brook Workshop, an invented rig
[rig]
name = "Ossel Brook lever"  # invented
build = "4"
stiffness = "1.5 kN/mm"
calibration = "cells.toml"

[link]
fields = ["time_us", "left", "right"]
port = "/dev/ttyUSB0"

[[cell]]
name = "left"
field = "left"
capacity = "200 kgf"

[[cell]]
name = "right"
field = "right"
capacity = "200 kgf"
sign = -1

[lever]
fulcrum = "end"
jack_arm = "402 mm"   # measured twice
specimen_arm = "201 mm"
pin_radius = "6 mm"
pin_friction = 0.2

[beam]
breadth = "45 mm"
depth = "95 mm"
length = "460 mm"
hole = "12 mm"
hole_offset = "12.5 mm"
loaded_edge = "60 mm"
species = "beech, American"
density = "680 kg/m3"
[beam.screws]
count = 2
diameter = "6 mm"
length_each_side = "30 mm"

[[part]]
name = "hook bolt"
limit = "8.2 kN"
acts_at = "specimen"
source = "M8 4.6, 36.6 mm2 x 225 MPa"

[[part]]
name = "post"
limit = "unknown"
acts_at = "fulcrum"

[[pin]]
name = "hook pin"
acts_at = "specimen"
diameter = "12 mm"
middle = "45 mm"
side = "6 mm"
gap = "1 mm"
allowed_shear = "140 MPa"
allowed_bending = "450 MPa"

[stop]
stop = "6.2 kN"
warn = "5.2 kN"
alarm_line = "rts"

[jack]
lead = "4 mm"
mean_diameter = "14 mm"
friction = 0.15
collar_radius = "10 mm"
crank = "150 mm"
"""


@pytest.fixture
def rig_text() -> str:
    return INVENTED_RIG
