"""Where everything lies in the packed arrays. Rows of a table, entries of a vector; units stand beside them.

Few arrays go in and out of the compiled step, because each costs time at the door: `const` and `state` hold many
tables, and the same views are made of them inside and outside.
"""

from __future__ import annotations

from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from plantsim.kernel.jit import inner

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
# None where everything is of the usual kind, else 1; see kinds_of.
Kinds: TypeAlias = int | None

# Cells stand in columns of `levels`, lowest first; a bay has `depth` columns, the front one (at the door) first. So a
# cell's number is (bay * depth + place) * levels + level, all from 0.

# sizes: entries of the whole-number vector before wall_cell
BAYS, DEPTH, LEVELS, PROBES = 0, 1, 2, 3
SIZES = 4

# air, per cell
AIR_H, AIR_WATER, AIR_T, AIR_W, AIR_FOG, AIR_RH = 0, 1, 2, 3, 4, 5  # J, kg, degC, kg/kg, kg/kg, fraction
AIR_ROWS = 6
# product, per cell
P_SKIN, P_CORE, P_FILM, P_INNER, P_AGE_h, P_AGE40_h, P_HEAT = 0, 1, 2, 3, 4, 5, 6  # degC, degC, kg, kg, h, h, W
P_GAINED = 7  # kg of water that came out of the air since it stands there
PRODUCT_ROWS = 8
# boards with racks, per cell; envelope skins per cell, then one door frame a bay
S_T, S_FILM = 0, 1  # degC, kg
SURFACE_ROWS = 2
FLOOR_LAYERS = 3
# senses, per probe that is not plain: air and moisture at its place, body, film, risen reading, wick, drift
N_AIR_T, N_AIR_W, N_BODY_T, N_FILM, N_MEMORY = 0, 1, 2, 3, 4  # degC, kg/kg, degC, kg/m2, %RH
N_WET_T, N_WETTED, N_SALT, N_RESERVOIR, N_DRIFT, N_WARM = 5, 6, 7, 8, 9, 10  # degC, share, share, K, own unit, K
SENSE_ROWS = 11
# scratch, per cell
X_WS, X_LANDED, X_LANDED_J, X_A, X_B = 0, 1, 2, 3, 4  # kg/kg, kg, J, free for use inside one function
WORK_ROWS = 5

# equipment
G_SPEED, G_FLOW, G_FAN_W, G_FAN_kW = 0, 1, 2, 3  # %, kg/s, W, kW
G_VALVE, G_COIL_W, G_HEAT_kW, G_WATER_T = 4, 5, 6, 7  # %, W, kW, degC
G_DAMPER, G_VENT, G_FOG_KG_H, G_FOG_KG = 8, 9, 10, 11  # %, kg/s, kg/h, kg in this step
G_EVAPORATED, G_LIMITER_T, G_TRIPPED, G_FRAME_W = 12, 13, 14, 15  # share, degC, 0/1, W
G_SUPPLY_T, G_RETURN_T, G_HALL_T, G_OUT_T, G_OUT_RH = 16, 17, 18, 19, 20  # degC, degC, degC, degC, %
G_CARRIED_W, G_VENT_LOSS_W, G_DRYING, G_WETTING, G_FOGGY = 21, 22, 23, 24, 25  # W, W, kg, kg in this step, 0/1
G_NEAREST, G_NEAREST_WALL = 26, 27  # the board and the skin nearest to condensing when the step began
G_MAKEUP, G_RECOVERED_W = 28, 29  # %, W
G_MOTOR, G_DAMPER_MOTOR, G_FIRE, G_FIRE_S = 34, 35, 37, 38  # %, %, 0 off 1 purge 2 fire, s in it
G_ELEMENT_T = G_WATER_T  # elements or exchanger stand where else the water does
G_INPUT_W, G_STEAM_KG_H, G_STEAM_KG, G_STEAM_J = 39, 40, 41, 42  # W bought, kg/h of the heater, kg and J in this step
G_PUMP, G_DROP, G_FOG_STEAM_KG_H = 43, 44, 45  # %, size of droplets over the rated one, kg/h of the humidifier
# 30..33 circulation and vents, 36, 46..49 heat and fog: free
G_SUPPLY_W = 50  # kg/kg
GEAR = 51
LINE = 64  # longest delay of a fog line, in steps

# books: J and kg since the start; *_ABS = sum of amounts, whichever way they went
B_COIL, B_FAN, B_FRAMES, B_HYDRATION, B_FOG_J, B_MAKEUP_J, B_EXHAUST_J = 0, 1, 2, 3, 4, 5, 6
B_LEAK_J, B_DOOR_J, B_WALL_J, B_FLOOR_J, B_DRAIN_J, B_ABS_J = 7, 8, 9, 10, 11, 12
B_FOG, B_MAKEUP, B_EXHAUST, B_LEAK, B_DOOR, B_DRAIN, B_ABS = 13, 14, 15, 16, 17, 18, 19
B_ON_PRODUCT, B_ON_BOARDS, B_ON_ENVELOPE, B_LANDED, B_DRIED, B_TAKEN_UP = 20, 21, 22, 23, 24, 25
B_CHARGE_IN_J, B_CHARGE_OUT_J, B_CHARGE_IN, B_CHARGE_OUT = 28, 29, 30, 31  # with product and boards
B_STEAM, B_STEAM_J = 26, 27
B_EXHAUST_DRAIN, B_RECOVERED_J = 32, 33  # parts of B_DRAIN and of what did not leave: told, not added
B_INPUT_J = 34  # bought by the heaters: fuel, electricity, or what the coil gave; no part of the closure
BOOKS = 35
TRUTH = 48

# drive: what comes from outside in a step
D_OUTPUTS = 8  # in the order of plantsim.chamber.OUTPUTS
D_OUT_T, D_OUT_W, D_OUT_RH, D_HALL_T, D_HALL_W, D_CHAIN, D_PRESSURE, D_PANEL_HEAT = 8, 9, 10, 11, 12, 13, 14, 15
# 16, 17 circulation and vents: free
D_STAGE, STAGES, D_FOG_PCT = 18, 4, 22
D_HAND_FAN, D_HAND_HEAT, D_HAND_FOG = 23, 24, 25  # 0 = automatic, else 1 + the hand value in percent
D_DARK = 26  # 1 = no power
# 27 heat and fog: free
DRIVE = 28  # then one entry a bay: 1 = door open

# constants
K_PRESSURE, K_AIR_KG, K_HEIGHT = 0, 1, 2
K_STILL, K_JET, K_SIDE, K_SIDE_JET, K_OPENING, K_SPEED, K_SPEED0, K_FILM, K_FILM_V = 3, 4, 5, 6, 7, 8, 9, 10, 11
K_PLUMES, K_PLUME_BELOW = 12, 13
K_FAN_FULL, K_FAN_RATED, K_FAN_RATED_W, K_FAN_GAIN, K_FAN_PROVEN = 14, 15, 16, 17, 18
K_COIL_W, K_COIL_WATER, K_COIL_AIR, K_COIL_UA, K_COIL_DRAUGHT, K_COIL_R, K_COIL_N = 19, 20, 21, 22, 23, 24, 25
K_COIL_STEP, K_COIL_GAIN = 26, 27
K_VENT, K_VENT_R, K_VENT_N, K_VENT_STEP = 28, 29, 30, 31
K_BANK_A, K_BANK_B, K_FOG_T, K_LINE_STEPS, K_DROP_EVAPORATES, K_DROP_FALLS, K_SETTLE = 32, 33, 34, 35, 36, 37, 38
K_LIMIT, K_LIMIT_GAIN, K_FRAME_W = 39, 40, 41
K_DOOR, K_DOOR_HEIGHT = 42, 43
K_PRODUCT_HOLD, K_FILM_FULL, K_ABSORB, K_SKIN_SHARE = 46, 47, 48, 49
K_BOARD_HOLD, K_WALL_HOLD = 54, 55
K_FLOOR_AREA, K_FLOOR_J, K_FLOOR_W_K, K_GROUND_W_K, K_GROUND_T = 56, 57, 58, 59, 60
K_PRODUCT_AREA = 61  # all of it, m2
K_DEPTH, K_DEPTH_STILL, K_DEPTH_JET = 62, 63, 64
K_THROUGH, K_PASS_MAX = 65, 66  # 1 = air goes the way of C_SUPPLY, C_PASS, C_BEFORE; largest share through a cell
K_DAMPERS, K_MAKEUP_STEP = 67, 68  # 1 = flow follows the table of dampers
K_RECOVERY, K_FROST_T = 69, 70
K_HEAT_KIND = 74
WATER, ELECTRIC, GAS, STEAM = 0, 1, 2, 3
K_STAGE = 75  # STAGES entries, W
K_ELEMENT_W_K, K_ELEMENT_J_K, K_DRAUGHT = 79, 80, 81  # elements or exchanger to the air at rated flow
K_FIRE_W, K_FIRE_MIN, K_EFFICIENCY, K_PURGE, K_FIRE_ON, K_FIRE_OFF = 82, 83, 84, 85, 86, 87
K_STEAM_KG_H, K_STEAM_J = 88, 89
K_VALVE_PLAY, K_VALVE_STICK, K_VALVE_LEAK, K_VALVE_FAILS = 90, 91, 92, 93
K_DAMPER_PLAY, K_DAMPER_STICK, K_DAMPER_FAILS = 94, 95, 96
SHUT, STAY, OPEN = 0, 1, 2  # where a drive goes without power
K_FOG_KIND = 97
NOZZLES, PUMP, HUMIDIFIER = 0, 1, 2
K_PUMP_OPEN, K_PUMP_GAIN, K_DROP_GROWS = 98, 99, 100
K_FOG_STEAM_KG_H, K_FOG_STEAM_J, K_FOG_STEAM_W, K_FOG_STEAM_GAIN = 101, 102, 103, 104
# 105..109 heat and fog: free
K_TONNES, K_NEWCOMERS, K_OPENED = 110, 111, 112  # t inside, cells with newcomers, cells behind a door just open
# 44, 45, 50..53, 71..73, 113: free
SCALARS = 114
# per cell
C_PRODUCT_M2, C_SKIN_J, C_PAIR_J, C_CORE_J, C_CEMENT, C_BOARD_M2, C_BOARD_J, C_LEAK = 0, 1, 2, 3, 4, 5, 6, 7
C_LAND, C_LAND_PRODUCT, C_LAND_BOARD = 8, 9, 10
C_SUPPLY, C_PASS, C_RETURN, C_BEFORE = 11, 12, 13, 14  # shares of the fan's flow; the cell it comes from, -1 = none
# 15 circulation and vents: free
C_ACTIVITY, C_WETTED, C_HYDRATION, C_TAU, C_SHAPE, C_ACTIVATION = 16, 17, 18, 19, 20, 21  # of the mix; C_HYDRATION: J
C_NEWCOMER, C_OPENED = 22, 23  # 1 = not judged: product placed lately; door open lately
CELL_ROWS = 24
# per skin and frame
L_M2, L_J, L_OUT_W_K, L_HEATED = 0, 1, 2, 3  # L_HEATED: of a frame, over the mean of all
WALL_ROWS = 4
# per probe
R_LAG, R_NOISE, R_OFFSET, R_LO, R_HI, R_SCALE = 0, 1, 2, 3, 4, 5
R_KIND, R_CELL, R_ODD = 6, 7, 8  # as in feel.py; R_ODD: a list, numbers of the probes that are not plain, then -1
R_SLOPE, R_DRIFT, R_LEAST, R_MOST = 9, 10, 11, 12  # relative error; unit per s; what the transmitter cuts at
R_ZERO_ERROR, R_SPAN_ERROR, R_FAILS_uA, R_COUNT_uA, R_CARD_ZERO_uA = 13, 14, 15, 16, 17  # errors in uA
R_CARD_LO_uA, R_CARD_HI_uA = 18, 19
R_JET, R_CORNER, R_STRATIFIED, R_WALL, R_RADIANT, R_BODY = 20, 21, 22, 23, 24, 25  # CORNER, BODY: gain of a step
R_FILM_MOST, R_FILM_H, R_MEMORY, R_RISE, R_FALL = 26, 27, 28, 29, 30  # kg/m2, W/m2K, %RH, gains of a step
R_RH_ERROR, R_BODY_ERROR, R_AIR_ERROR = 31, 32, 33  # %RH, K, K
R_WICK_A, R_WICK_AIR = 34, 35  # 1/K, m/s
PROBE_ROWS = 36
# dampers: exhaust, make-up; a characteristic of up to DAMPER_POINTS points
A_KIND, A_RANGEABILITY, A_AUTHORITY, A_LEAKAGE, A_COUNT, A_X = 0, 1, 2, 3, 4, 5
DAMPER_POINTS = 12
A_Y = A_X + DAMPER_POINTS
DAMPER_COLUMNS = A_Y + DAMPER_POINTS
# then the share of each column in the fan's flow


class Views(NamedTuple):
    """Tables of the state vector: views, so that writing to them changes the state."""

    air: Any
    product: Any
    board: Any
    wall: Any
    floor: Any
    work: Any
    gear: Any
    line: Any
    books: Any
    truth: Any
    values: Any
    lagged: Any
    senses: Any


class Tables(NamedTuple):
    """Tables of the constants."""

    k: Any
    cell: Any
    wall: Any
    probe: Any
    damper: Any
    share: Any


def state_size(bays: int, depth: int, levels: int, probes: int) -> int:
    """Length of the state vector."""
    n = bays * depth * levels
    cells = (AIR_ROWS + PRODUCT_ROWS + SURFACE_ROWS) * n
    walls = (SURFACE_ROWS + WORK_ROWS) * (n + bays)
    rest = GEAR + 2 * LINE + BOOKS + TRUTH + (2 + SENSE_ROWS) * probes
    return cells + walls + FLOOR_LAYERS * bays * depth + rest


def const_size(bays: int, depth: int, levels: int, probes: int) -> int:
    """Length of the vector of constants."""
    n = bays * depth * levels
    walls = WALL_ROWS * (n + bays)
    return SCALARS + CELL_ROWS * n + walls + PROBE_ROWS * probes + 2 * DAMPER_COLUMNS + bays * depth


def state_views(state: Floats, bays: int, depth: int, levels: int, probes: int) -> Views:
    """The tables of a state vector of state_size(). work has n + bays columns: it serves skins and frames too."""
    n = bays * depth * levels
    m = n + bays
    a = AIR_ROWS * n
    p = a + PRODUCT_ROWS * n
    b = p + SURFACE_ROWS * n
    w = b + SURFACE_ROWS * m
    f = w + FLOOR_LAYERS * bays * depth
    x = f + WORK_ROWS * m
    g = x + GEAR
    li = g + 2 * LINE
    bk = li + BOOKS
    t = bk + TRUTH
    v = t + probes
    return Views(
        state[:a].reshape((AIR_ROWS, n)),
        state[a:p].reshape((PRODUCT_ROWS, n)),
        state[p:b].reshape((SURFACE_ROWS, n)),
        state[b:w].reshape((SURFACE_ROWS, m)),
        state[w:f].reshape((FLOOR_LAYERS, bays * depth)),
        state[f:x].reshape((WORK_ROWS, m)),
        state[x:g],
        state[g:li].reshape((2, LINE)),
        state[li:bk],
        state[bk:t],
        state[t:v],
        state[v : v + probes],
        state[v + probes : v + (1 + SENSE_ROWS) * probes].reshape((SENSE_ROWS, probes)),
    )


def const_views(const: Floats, bays: int, depth: int, levels: int, probes: int) -> Tables:
    """The tables of a vector of constants of const_size()."""
    n = bays * depth * levels
    c = SCALARS + CELL_ROWS * n
    w = c + WALL_ROWS * (n + bays)
    r = w + PROBE_ROWS * probes
    d = r + 2 * DAMPER_COLUMNS
    return Tables(
        const[:SCALARS],
        const[SCALARS:c].reshape((CELL_ROWS, n)),
        const[c:w].reshape((WALL_ROWS, n + bays)),
        const[w:r].reshape((PROBE_ROWS, probes)),
        const[r:d].reshape((2, DAMPER_COLUMNS)),
        const[d : d + bays * depth],
    )


def kinds_of(c: Tables) -> Kinds:
    """None for a chamber whose parts are all of the usual kinds, else 1.

    Usual: hot-water coil, nozzles at one pressure, one damper without heat recovery, air from the top of every column
    to its bottom, one cell from front to back, plain probes. Numba drops what stands behind `kinds is not None` where
    it compiles for None, so that such a chamber does not wait for code that it never runs. Results are the same.
    """
    k = c.k
    usual = k[K_HEAT_KIND] == WATER and k[K_FOG_KIND] == NOZZLES and k[K_RECOVERY] == 0.0 and k[K_DEPTH] == 1.0
    usual = usual and k[K_DAMPERS] == 0.0 and k[K_THROUGH] == 0.0
    return None if usual and not (c.probe[R_ODD] >= 0.0).any() else 1


# The same for compiled code, which alone may call them.
state_views_compiled = inner(state_views)
const_views_compiled = inner(const_views)
