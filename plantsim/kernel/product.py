"""Fresh concrete in the racks: heat and water at its skin, the film on it, conduction to the core, hydration heat.

Dry skin: only the wetted fraction of the area takes part, at the water activity of the pore water. Air moister than
saturation at the skin condenses on all of it; the film then evaporates as free water and is sucked in.
"""

from __future__ import annotations

from math import exp

from plantsim.kernel.jit import inner
from plantsim.kernel.layout import (
    AIR_H,
    AIR_T,
    AIR_W,
    AIR_WATER,
    B_ABS_J,
    B_DRIED,
    B_HYDRATION,
    B_ON_PRODUCT,
    B_TAKEN_UP,
    C_ACTIVITY,
    C_CORE_J,
    C_LAND_PRODUCT,
    C_PAIR_J,
    C_PRODUCT_M2,
    C_SKIN_J,
    C_WETTED,
    G_DRYING,
    G_WETTING,
    K_ABSORB,
    K_FILM_FULL,
    K_PRESSURE,
    K_PRODUCT_HOLD,
    K_SKIN_SHARE,
    P_CORE,
    P_FILM,
    P_GAINED,
    P_HEAT,
    P_INNER,
    P_SKIN,
    X_A,
    X_B,
    X_LANDED,
    X_LANDED_J,
    X_WS,
    Floats,
)
from plantsim.kernel.moistair import LIQUID_J_PER_KG_K, vapour_enthalpy
from plantsim.kernel.rows import added, added_up
from plantsim.kernel.surfaces import LEWIS_J_PER_KG_K, drip, saturate


@inner
def expose_product(
    k: Floats,
    cell: Floats,
    air: Floats,
    product: Floats,
    work: Floats,
    gear: Floats,
    books: Floats,
    h_c: float,
    dt: float,
) -> None:
    """Heat and water between air and product for dt, and what happens inside it."""
    n = air.shape[1]
    H, moist, T_air, W, Ws = air[AIR_H], air[AIR_WATER], air[AIR_T], air[AIR_W], work[X_WS]
    T, core, films, inside = product[P_SKIN], product[P_CORE], product[P_FILM], product[P_INNER]
    area, C, C_core, pair = cell[C_PRODUCT_M2], cell[C_SKIN_J], cell[C_CORE_J], cell[C_PAIR_J]
    heats, on_films, intos = product[P_HEAT], work[X_A, :n], work[X_B, :n]
    saturate(T, work[X_WS, :n], k[K_PRESSURE])
    sucked = 1.0 - exp(-dt / k[K_ABSORB])
    h_m, skin_share = h_c / LEWIS_J_PER_KG_K * dt, k[K_SKIN_SHARE]
    for i in range(n):
        if area[i] == 0.0:
            heats[i] = on_films[i] = intos[i] = 0.0
            continue
        film, inner = films[i], inside[i]
        on_film, into = vapour_to_product(
            k, cell[C_ACTIVITY, i], cell[C_WETTED, i], h_m * area[i], W[i], Ws[i], film, inner, area[i]
        )
        water = on_film + into
        heat = h_c * area[i] * dt * (T_air[i] - T[i]) + water * vapour_enthalpy(T_air[i])
        H[i] -= heat
        moist[i] -= water
        wet = film + on_film + cell[C_LAND_PRODUCT, i] * work[X_LANDED, i]
        drawn = wet * sucked
        # The core is reached from the old temperatures of both, as one number.
        inward = pair[i] * (T[i] - core[i])
        set_free = heats[i] * dt
        heat += cell[C_LAND_PRODUCT, i] * work[X_LANDED_J, i] + skin_share * set_free - inward
        before = C[i] + (film + inner) * LIQUID_J_PER_KG_K
        after = C[i] + (wet + inner + into) * LIQUID_J_PER_KG_K
        T[i] = (before * T[i] + heat) / after
        core[i] += (inward + (1.0 - skin_share) * set_free) / C_core[i]
        inside[i] = inner + into + drawn
        films[i] = wet - drawn
        on_films[i], intos[i] = on_film, into
        product[P_GAINED, i] += max(into, 0.0) + max(on_film, 0.0)
    drip(books, films, area, T, k[K_PRODUCT_HOLD])
    condensed, gained = added_up(on_films), added_up(intos)
    dried, hydration = gained - added(intos), added(heats) * dt
    gear[G_DRYING], gear[G_WETTING] = dried, gained + condensed
    books[B_DRIED] += dried
    books[B_TAKEN_UP] += gained + condensed
    books[B_ON_PRODUCT] += condensed
    books[B_HYDRATION] += hydration
    books[B_ABS_J] += hydration


@inner
def vapour_to_product(
    k: Floats,
    activity: float,
    pores: float,
    kg_per_dW: float,
    W: float,
    Ws: float,
    film_kg: float,
    inner_kg: float,
    area_m2: float,
) -> tuple[float, float]:
    """Water that reaches the film and the concrete itself in a step, kg; negative when it leaves.

    activity, pores: water activity and wetted share of the dry skin; kg_per_dW: h_m * area * dt. A film gives and
    takes over what it covers, bare pores over the wetted share of the rest, and what is bare condenses too once the
    air beside it is more than saturated. No jump anywhere: neither when W passes Ws nor when the last trace of a film
    goes.
    """
    excess = W - Ws
    covered = min(film_kg / (k[K_FILM_FULL] * area_m2), 1.0)
    into_pores = pores * (1.0 - covered) * kg_per_dW
    if excess > 0.0:
        return kg_per_dW * excess, into_pores * (1.0 - activity) * Ws
    return max(covered * kg_per_dW * excess, -film_kg), max(into_pores * (W - activity * Ws), -inner_kg)
