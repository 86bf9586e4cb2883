"""Harvest loss from counts, capacity and timeliness.

Loss is counted on the ground. Before anyone walks round the machine: stopped, header and threshing off,
backed up, engine off, key out.
"""

from __future__ import annotations

from audit.physics.formula import formula, within

ACRE = 4046.8564224  # m², by definition
HECTARE = 10_000.0  # m²


@formula(name="Seeds per kilogram", equation="n = k / m", unit="1/kg", source="definition")
def seeds_per_kg(seeds: float, mass: float) -> float:
    """Seeds in a kilogram, from a counted sample or from a printed number of seeds in a bushel.

    n = k / m

    Args:
        seeds: number of seeds k, from 1 to 10 000 000.
        mass: their mass m, kg, from 0.0001 to 1000.
    Returns: seeds per kg.
    Raises: OutOfRange: an argument outside its range.
    Source: definition.
    Worked example, Iowa State Univ. Agron 212 (soybean, 2600 seeds in a pound):
        >>> round(seeds_per_kg(2600.0, 0.45359237))
        5732
    """
    within("seeds", seeds, 1.0, 10_000_000.0)
    within("mass", mass, 0.0001, 1000.0, "kg")
    return seeds / mass


@formula(
    name="Count for one bushel per acre",
    equation="k = b n / 4046.86",
    unit="1/m2",
    source="definition",
)
def count_per_bushel_per_area(seeds_per_mass: float, kg_per_bushel: float) -> float:
    """Seeds on a square metre that make one bushel per acre.

    k = b n / 4046.86 (US form: lb per bu times seeds per lb over 43 560, per square foot)

    Args:
        seeds_per_mass: n, seeds per kg, from 500 to 1 000 000.
        kg_per_bushel: b, kg, from 5 to 40.
    Returns: count k, per m².
    Raises: OutOfRange: an argument outside its range.
    Source: definition of acre and bushel weight.
    Worked example, small-grain loss table, 2003 (hard red spring wheat, 20 kernels per ft²), at the 14 520
    seeds per lb that it implies:
        >>> round(count_per_bushel_per_area(14520 / 0.45359237, 60 * 0.45359237) / 10.7639, 2)
        20.0
    """
    within("seeds_per_mass", seeds_per_mass, 500.0, 1_000_000.0, "1/kg")
    within("kg_per_bushel", kg_per_bushel, 5.0, 40.0, "kg")
    return kg_per_bushel * seeds_per_mass / ACRE


@formula(name="Loss from a count", equation="10 000 k / n", unit="kg/ha", source="definition")
def loss_from_count(count_per_m2: float, seeds_per_mass: float) -> float:
    """Grain lost, from seeds counted on the ground.

    loss = 10 000 k / n

    Args:
        count_per_m2: k, seeds per m² averaged over the cut, from -10 000 (a difference of counts) to 1 000
        000.
        seeds_per_mass: n, seeds per kg, from 500 to 1 000 000.
    Returns: loss, kg/ha.
    Raises: OutOfRange: an argument outside its range.
    Source: definition.
    Worked example, Univ. of Missouri G1280 (4 soybeans per ft² are one bushel per acre, 67.25 kg/ha), at the
    2904 seeds per lb that it implies:
        >>> round(loss_from_count(4 * 10.763910, 2904 / 0.45359237), 2)
        67.25
    """
    within("count_per_m2", count_per_m2, -10_000.0, 1_000_000.0, "1/m2")
    within("seeds_per_mass", seeds_per_mass, 500.0, 1_000_000.0, "1/kg")
    return HECTARE * count_per_m2 / seeds_per_mass


@formula(name="Bushels per acre", equation="y A / (10 000 b)", unit="bu/ac", source="definition")
def bushels_per_acre(kg_per_ha: float, kg_per_bushel: float) -> float:
    """Yield or loss in bushels per acre.

    Y = y A / (10 000 b), A = 4046.86 m²

    Args:
        kg_per_ha: y, kg/ha, from 0 to 30 000.
        kg_per_bushel: b, kg, from 5 to 40. Bushel weights are trade weights; some differ by country.
    Returns: bu/ac.
    Raises: OutOfRange: an argument outside its range.
    Source: definition.
    Worked example, official bushel of 60 lb (wheat, soybean: 1 bu/ac is 67.25 kg/ha):
        >>> round(bushels_per_acre(67.25, 60 * 0.45359237), 3)
        1.0
    """
    within("kg_per_ha", kg_per_ha, 0.0, 30_000.0, "kg/ha")
    within("kg_per_bushel", kg_per_bushel, 5.0, 40.0, "kg")
    return kg_per_ha * ACRE / (HECTARE * kg_per_bushel)


@formula(name="Yield in kilograms per hectare", equation="10 000 Y b / A", unit="kg/ha", source="definition")
def kg_per_hectare(bushels: float, kg_per_bushel: float) -> float:
    """Yield or loss in kg/ha from bushels per acre.

    y = 10 000 Y b / A, A = 4046.86 m²

    Args:
        bushels: Y, bu/ac, from 0 to 500.
        kg_per_bushel: b, kg, from 5 to 40.
    Returns: kg/ha.
    Raises: OutOfRange: an argument outside its range.
    Source: definition.
    Worked example, official bushel of 56 lb (corn: 1 bu/ac is 62.77 kg/ha):
        >>> round(kg_per_hectare(1.0, 56 * 0.45359237), 2)
        62.77
    """
    within("bushels", bushels, 0.0, 500.0, "bu/ac")
    within("kg_per_bushel", kg_per_bushel, 5.0, 40.0, "kg")
    return HECTARE * bushels * kg_per_bushel / ACRE


@formula(
    name="Concentration factor",
    equation="f = cut width / discharge width",
    unit="",
    source="small-grain-loss-2003",
)
def concentration_factor(cut_width: float, discharge_width: float) -> float:
    """How many times denser grain lies in the discharge strip than spread over the whole cut.

    f = cut width / discharge width

    Args:
        cut_width: width cut, m, from 0.5 to 20.
        discharge_width: width of the strip that receives the discharge, m, from 0.3 to the cut width.
    Returns: factor f, at least 1.
    Raises: OutOfRange: an argument outside its range.
    Source: How to Estimate Grain Harvest Losses, 2003.
    Worked example, canola growers' text (30 ft cut, 5 ft discharge):
        >>> round(concentration_factor(9.144, 1.524), 6)
        6.0
    """
    within("cut_width", cut_width, 0.5, 20.0, "m")
    within("discharge_width", discharge_width, 0.3, cut_width, "m")
    return cut_width / discharge_width


@formula(
    name="Count lost through the machine",
    equation="(behind - beside) / f",
    unit="1/m2",
    source="small-grain-loss-2003",
)
def machine_loss(behind: float, beside: float, concentration: float) -> float:
    """Seeds lost by threshing, separation and cleaning, averaged over the cut.

    (behind - beside) / f

    Args:
        behind: count in the discharge strip behind the machine, per m², from 0 to 1 000 000.
        beside: count on cut ground that got no discharge, per m² (header loss and pre-harvest loss together),
            from 0 to 1 000 000.
        concentration: factor f, from 1 to 60; 1 where the spreader covers the whole cut.
    Returns: count, per m² of cut. Below 0 means that scatter outweighs the loss: count more frames.
    Raises: OutOfRange: an argument outside its range.
    Source: How to Estimate Grain Harvest Losses, 2003.
    Worked example, its rule on a six-fold strip: 140 behind, 20 beside, per ft²; 20 kernels are one bushel
        per acre:
        >>> machine_loss(140.0, 20.0, 6.0) / 20.0
        1.0
    """
    within("behind", behind, 0.0, 1_000_000.0, "1/m2")
    within("beside", beside, 0.0, 1_000_000.0, "1/m2")
    within("concentration", concentration, 1.0, 60.0)
    return (behind - beside) / concentration


@formula(name="Count lost at the header", equation="beside - ahead", unit="1/m2", source="ohio-corn-2019-34")
def header_loss(beside: float, ahead: float) -> float:
    """Seeds lost by the header: what lies on cut ground less what had fallen before harvest.

    beside - ahead

    Args:
        beside: count on cut ground that got no discharge, per m², from 0 to 1 000 000.
        ahead: count in the standing crop (pre-harvest loss), per m², from 0 to 1 000 000.
    Returns: count, per m². Below 0 means that scatter outweighs the loss: count more frames.
    Raises: OutOfRange: an argument outside its range.
    Source: Ohio State Univ. C.O.R.N. newsletter 2019-34.
    Worked example, soybean at 4 per ft² a bushel, 6 beside and 2 ahead: one bushel per acre at the header:
        >>> header_loss(6.0, 2.0) / 4.0
        1.0
    """
    within("beside", beside, 0.0, 1_000_000.0, "1/m2")
    within("ahead", ahead, 0.0, 1_000_000.0, "1/m2")
    return beside - ahead


@formula(name="Loss share", equation="100 loss / (harvested + loss)", unit="%", source="small-grain-loss-2003")
def loss_percent(loss: float, harvested: float) -> float:
    """Loss as a share of the crop that stood there.

    100 loss / (harvested + loss)

    Args:
        loss: kg/ha, from 0 to 30 000.
        harvested: kg/ha in the tank, from 1 to 30 000.
    Returns: share, %.
    Raises: OutOfRange: an argument outside its range.
    Source: How to Estimate Grain Harvest Losses, 2003; Hofman, Grain Harvest Losses.
    Worked example, the printed target of 3 % (3 lost of 100 grown):
        >>> loss_percent(3.0, 97.0)
        3.0
    """
    within("loss", loss, 0.0, 30_000.0, "kg/ha")
    within("harvested", harvested, 1.0, 30_000.0, "kg/ha")
    return 100.0 * loss / (harvested + loss)


@formula(
    name="Field capacity",
    equation="Ca = v w e / 1000",
    unit="ha/h",
    source="srivastava-2006",
    at="eq. 15.1",
)
def field_capacity(speed: float, width: float, efficiency: float) -> float:
    """Area harvested in an hour.

    Ca = v w e / 1000 (the source divides by 10 and takes e as a fraction)

    Args:
        speed: ground speed v, km/h, from 0 to 20.
        width: width w really cut, m, from 0.5 to 20.
        efficiency: field efficiency e, %, from 1 to 100. Planning figures for combines: 65 to 80.
    Returns: field capacity Ca, ha/h.
    Raises: OutOfRange: an argument outside its range.
    Source: Srivastava et al., Engineering Principles of Agricultural Machines, eq. 15.1.
    Worked example, the US form, mph times ft times e over 8.25 (3 mph, 30 ft, 70 %, 7.636 ac/h):
        >>> round(field_capacity(4.828032, 9.144, 70.0) / 0.40468564, 2)
        7.64
    """
    within("speed", speed, 0.0, 20.0, "km/h")
    within("width", width, 0.5, 20.0, "m")
    within("efficiency", efficiency, 1.0, 100.0, "%")
    return speed * width * efficiency / 1000.0


@formula(name="Material capacity", equation="Cm = Ca y", unit="kg/h", source="srivastava-2006", at="eq. 15.2")
def material_capacity(area_rate: float, crop_yield: float) -> float:
    """Grain harvested in an hour.

    Cm = Ca y

    Args:
        area_rate: field capacity Ca, ha/h, from 0 to 40.
        crop_yield: y, kg/ha, from 0 to 30 000.
    Returns: material capacity Cm, kg/h.
    Raises: OutOfRange: an argument outside its range.
    Source: Srivastava et al., Engineering Principles of Agricultural Machines, eq. 15.2.
    Worked example, the source's product: 3 ha/h of 8000 kg/ha:
        >>> material_capacity(3.0, 8000.0)
        24000.0
    """
    within("area_rate", area_rate, 0.0, 40.0, "ha/h")
    within("crop_yield", crop_yield, 0.0, 30_000.0, "kg/ha")
    return area_rate * crop_yield


@formula(name="Timeliness loss", equation="K d y", unit="kg/ha", source="asae-d497", at="timeliness")
def timeliness_loss(daily_fraction: float, days: float, crop_yield: float) -> float:
    """Crop lost because it was harvested late.

    K d y

    Args:
        daily_fraction: K, fraction of the crop lost per day late, from 0 to 0.05 (corn 0.003, soybean 0.006
            to 0.010). A fraction, not per cent.
        days: d, days late, from 0 to 60.
        crop_yield: y, kg/ha, from 0 to 30 000.
    Returns: loss, kg/ha.
    Raises: OutOfRange: an argument outside its range.
    Source: ASABE timeliness factors as quoted by Schuler, Univ. of Wisconsin Extension, 2005.
    Worked example, Schuler 2005 (corn, 10 days, 150 bu/ac: 4.5 bu/ac lost):
        >>> round(timeliness_loss(0.003, 10.0, 150.0), 6)
        4.5
    """
    within("daily_fraction", daily_fraction, 0.0, 0.05)
    within("days", days, 0.0, 60.0)
    within("crop_yield", crop_yield, 0.0, 30_000.0, "kg/ha")
    return daily_fraction * days * crop_yield


@formula(name="Reel index", equation="i = 3.6 u / v", unit="", source="purdue-ae-82")
def reel_index(reel_speed: float, ground_speed: float) -> float:
    """Speed of the reel's bats over ground speed.

    i = 3.6 u / v

    Args:
        reel_speed: bat tip speed u, m/s, from 0 to 10.
        ground_speed: v, km/h, from 0.5 to 20.
    Returns: index i; 1.25 is the usual advice in sorghum and soybean.
    Raises: OutOfRange: an argument outside its range.
    Source: McKenzie and Richey, Purdue AE-82 (about 25 % faster than ground speed).
    Worked example, 3 mph (4.828 km/h, 1.341 m/s) and a reel 25 % faster (1.676 m/s):
        >>> round(reel_index(1.676, 4.828), 2)
        1.25
    """
    within("reel_speed", reel_speed, 0.0, 10.0, "m/s")
    within("ground_speed", ground_speed, 0.5, 20.0, "km/h")
    return 3.6 * reel_speed / ground_speed


@formula(name="Strip length for an area", equation="l = 1000 A / s", unit="m", source="definition")
def row_length_for_area(area: float, row_spacing: float) -> float:
    """Length of one row, or of a strip, that makes a wanted area.

    l = 1000 A / s

    Args:
        area: A, m², from 0.1 to 10 000.
        row_spacing: s, mm, row spacing or strip width, from 50 to 20 000.
    Returns: length l, m.
    Raises: OutOfRange: an argument outside its range.
    Source: definition.
    Worked example, Hanna (1/100 acre of one 30 in row, 174 ft; a trade letter's 187 ft is a slip):
        >>> round(row_length_for_area(40.468564, 762.0) / 0.3048, 1)
        174.2
    """
    within("area", area, 0.1, 10_000.0, "m2")
    within("row_spacing", row_spacing, 50.0, 20_000.0, "mm")
    return 1000.0 * area / row_spacing


@formula(name="Width that rows make", equation="w = n s", unit="mm", source="definition")
def rows_width(rows: float, row_spacing: float) -> float:
    """Width of ground that the rows of a row header take.

    w = n s

    Args:
        rows: n, from 1 to 40.
        row_spacing: s, mm, from 50 to 20 000.
    Returns: width w, mm.
    Raises: OutOfRange: an argument outside its range.
    Source: definition.
    Worked example, a head of twelve rows 30 in apart, which is a 30 ft head:
        >>> rows_width(12.0, 762.0) / 304.8
        30.0
    """
    within("rows", rows, 1.0, 40.0)
    within("row_spacing", row_spacing, 50.0, 20_000.0, "mm")
    return rows * row_spacing
