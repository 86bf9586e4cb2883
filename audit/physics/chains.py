"""Roller-chain drives as geometry: sprockets, length, centre distance, speed, pulse, alignment."""

from __future__ import annotations

import math

from audit.physics.formula import OutOfRange, formula, within


def _teeth(name: str, value: float) -> float:
    within(name, value, 5.0, 200.0, "teeth")
    if value != math.floor(value):
        raise OutOfRange(f"{name} is {value:g} teeth; this formula holds for whole numbers from 5 to 200")
    return value


def _pitch(pitch: float) -> float:
    return within("pitch", pitch, 4.0, 150.0, "mm")


def _pitch_diameter(pitch: float, teeth: float) -> float:
    return pitch / math.sin(math.pi / teeth)


@formula(
    name="Sprocket pitch diameter",
    equation="d = p / sin(180° / z)",
    unit="mm",
    source="mott-2004",
    at="p. 295",
)
def pitch_diameter(pitch: float, teeth: float) -> float:
    """Diameter of the circle through the pin centres of a chain lying on its sprocket.

    d = p / sin(180° / z)

    Args:
        pitch: chain pitch p, mm, from 4 to 150.
        teeth: z, whole, from 5 to 200.
    Returns: pitch diameter d, mm.
    Raises: OutOfRange: an argument outside its range.
    Source: Mott, Machine Elements, p. 295; Bhandari, ch. 14.
    Worked example, Mott 2004 Ex. 7-3 (half-inch pitch, 65 teeth, 10.349 in):
        >>> round(pitch_diameter(12.7, 65.0) / 25.4, 3)
        10.349
    """
    return _pitch_diameter(_pitch(pitch), _teeth("teeth", teeth))


def _tooth_term(driver_teeth: float, driven_teeth: float) -> float:
    return ((driver_teeth - driven_teeth) / (2.0 * math.pi)) ** 2


@formula(
    name="Chain length in pitches",
    equation="L = 2C/p + (z₁ + z₂)/2 + ((z₂ - z₁)/(2π))² p/C",
    unit="",
    source="mott-2004",
    at="p. 295",
)
def length_in_pitches(driver_teeth: float, driven_teeth: float, pitch: float, centre: float) -> float:
    """Pitches of chain that two sprockets need; usually not whole, see ``even_pitches``.

    L = 2C/p + (z₁ + z₂)/2 + ((z₂ - z₁)/(2π))² p/C

    Args:
        driver_teeth: z₁, whole, from 5 to 200.
        driven_teeth: z₂, whole, from 5 to 200.
        pitch: p, mm, from 4 to 150.
        centre: C, mm, from half the sum of the pitch diameters to 20 000.
    Returns: length L, pitches.
    Raises: OutOfRange: an argument outside its range.
    Source: Mott, Machine Elements, p. 295; Bhandari, ch. 14.
    Worked example, Bhandari Ex. 14.3 (21 and 63 teeth, 12.7 mm, 500 mm apart, 121.875):
        >>> round(length_in_pitches(21.0, 63.0, 12.7, 500.0), 3)
        121.875
    """
    _teeth("driver_teeth", driver_teeth)
    _teeth("driven_teeth", driven_teeth)
    _pitch(pitch)
    touching = (_pitch_diameter(pitch, driver_teeth) + _pitch_diameter(pitch, driven_teeth)) / 2.0
    within("centre", centre, touching, 20_000.0, "mm")
    apart = centre / pitch
    return 2.0 * apart + (driver_teeth + driven_teeth) / 2.0 + _tooth_term(driver_teeth, driven_teeth) / apart


@formula(name="Even number of pitches", equation="L rounded up to even", unit="", source="mott-2004", at="p. 295")
def even_pitches(pitches: float) -> float:
    """Next even number of pitches: an odd number needs an offset link, which is the weakest of the chain.

    Args:
        pitches: computed length, pitches, from 6 to 5000.
    Returns: even number of pitches.
    Raises: OutOfRange: pitches outside its range.
    Source: Mott, Machine Elements, p. 295; Bhandari, ch. 14.
    Worked example, Mott 2004 Ex. 7-3 (102.9, take 104):
        >>> even_pitches(102.9)
        104.0
    """
    within("pitches", pitches, 6.0, 5000.0)
    # A length that is even but for rounding in the last places must not gain two pitches.
    return 2.0 * math.ceil(pitches / 2.0 - 1e-9)


@formula(
    name="Centre distance for a chain",
    equation="C = (p/4) (A + √(A² - 8 ((z₂ - z₁)/(2π))²)), A = L - (z₁ + z₂)/2",
    unit="mm",
    source="mott-2004",
    at="p. 295",
)
def centre_for_pitches(driver_teeth: float, driven_teeth: float, pitch: float, pitches: float) -> float:
    """Centre distance at which a chain of so many pitches lies taut.

    C = (p/4) (A + √(A² - 8 ((z₂ - z₁)/(2π))²)), A = L - (z₁ + z₂)/2

    Args:
        driver_teeth: z₁, whole, from 5 to 200.
        driven_teeth: z₂, whole, from 5 to 200.
        pitch: p, mm, from 4 to 150.
        pitches: L, from the length at which the sprockets touch to 5000.
    Returns: centre distance C, mm.
    Raises: OutOfRange: an argument outside its range; a chain too short for the two sprockets.
    Source: Mott, Machine Elements, p. 295; Bhandari, ch. 14.
    Worked example, Bhandari Ex. 14.3 (21 and 63 teeth, 12.7 mm, 122 pitches, 500.8047 mm):
        >>> round(centre_for_pitches(21.0, 63.0, 12.7, 122.0), 4)
        500.8047
    """
    _teeth("driver_teeth", driver_teeth)
    _teeth("driven_teeth", driven_teeth)
    _pitch(pitch)
    term = _tooth_term(driver_teeth, driven_teeth)
    half_sum = (driver_teeth + driven_teeth) / 2.0
    touching = (_pitch_diameter(1.0, driver_teeth) + _pitch_diameter(1.0, driven_teeth)) / 2.0
    within("pitches", pitches, 2.0 * touching + half_sum + term / touching, 5000.0)
    reach = pitches - half_sum
    return pitch / 4.0 * (reach + math.sqrt(reach * reach - 8.0 * term))


@formula(
    name="Chain speed",
    equation="v = z p n / 60 000",
    unit="m/s",
    source="bhandari",
    at="ch. 14, chain velocity",
)
def chain_speed(teeth: float, pitch: float, speed: float) -> float:
    """Mean speed of a chain along itself.

    v = z p n / 60 000

    Args:
        teeth: sprocket teeth z, whole, from 5 to 200.
        pitch: chain pitch p, mm, from 4 to 150.
        speed: speed n of that sprocket, r/min, from 0 to 10 000.
    Returns: chain speed v, m/s.
    Raises: OutOfRange: an argument outside its range.
    Source: Bhandari, Design of Machine Elements, ch. 14.
    Worked example, chain speed table (12 teeth at 100 r/min, 3/4 in pitch, 75 ft/min):
        >>> round(chain_speed(12.0, 19.05, 100.0) / 0.00508, 6)
        75.0
    """
    _teeth("teeth", teeth)
    _pitch(pitch)
    within("speed", speed, 0.0, 10_000.0, "r/min")
    return teeth * pitch * speed / 60_000.0


@formula(
    name="Chordal speed variation",
    equation="100 (1 - cos(180° / z))",
    unit="%",
    source="polygon-effect",
)
def chordal_variation(teeth: float) -> float:
    """Drop of the chain's speed below its peak, once for each tooth of a steadily turning sprocket.

    100 (1 - cos(180° / z))

    Other texts divide peak-to-peak by the mean, which comes to almost the same figure; the drop from the peak
    is meant here.

    Args:
        teeth: z, whole, from 5 to 200.
    Returns: drop from the peak, % of the peak speed.
    Raises: OutOfRange: teeth outside its range.
    Source: article on the polygon effect.
    Worked example, that article (20 teeth, 1.2 %):
        >>> round(chordal_variation(20.0), 1)
        1.2
    """
    return 100.0 * (1.0 - math.cos(math.pi / _teeth("teeth", teeth)))


@formula(
    name="Wrap on the small sprocket",
    equation="θ = 180° - 2 asin((D - d) / (2C))",
    unit="deg",
    source="mott-2004",
    at="p. 295",
)
def wrap_small_sprocket(driver_teeth: float, driven_teeth: float, pitch: float, centre: float) -> float:
    """Arc over which the chain lies on the smaller of two sprockets. Less than 120 deg is too little.

    θ = 180° - 2 asin((D - d) / (2C)), D and d the pitch diameters

    Args:
        driver_teeth: z₁, whole, from 5 to 200.
        driven_teeth: z₂, whole, from 5 to 200.
        pitch: p, mm, from 4 to 150.
        centre: C, mm, from half the sum of the pitch diameters to 20 000.
    Returns: wrap θ, deg, at most 180.
    Raises: OutOfRange: an argument outside its range.
    Source: Mott, Machine Elements, p. 295, which also asks for 120 deg.
    Worked example, Mott 2004 Ex. 7-3 (2.721 and 10.349 in, 15.272 in apart), from the printed diameters:
        >>> import math
        >>> round(180 - 2 * math.degrees(math.asin((10.349 - 2.721) / (2 * 15.272))), 1)
        151.1
        >>> round(wrap_small_sprocket(17.0, 65.0, 12.7, 387.91), 1)
        151.1
    """
    _teeth("driver_teeth", driver_teeth)
    _teeth("driven_teeth", driven_teeth)
    _pitch(pitch)
    first, second = _pitch_diameter(pitch, driver_teeth), _pitch_diameter(pitch, driven_teeth)
    within("centre", centre, (first + second) / 2.0, 20_000.0, "mm")
    return 180.0 - 2.0 * math.degrees(math.asin(abs(first - second) / (2.0 * centre)))


@formula(
    name="Sprocket offset limit",
    equation="1 mm to C = 1 m; C / 1000 to 10 m; 10 mm beyond",
    unit="mm",
    source="complete-guide-to-chain",
    at="7.1.2.2",
)
def offset_limit(centre: float) -> float:
    """Largest sideways offset of one sprocket's face from the other's, either way.

    1 mm up to a centre distance of 1 m; C / 1000 up to 10 m; 10 mm beyond

    Args:
        centre: centre distance C, mm, from 10 to 20 000.
    Returns: limit, mm.
    Raises: OutOfRange: centre outside its range.
    Source: The Complete Guide to Chain, 7.1.2.2. Contested: an installation note allows 0.015 C, which is up
        to 15 times as much.
    Worked example, that place (1 mm at 1 m, 10 mm at 10 m):
        >>> offset_limit(800.0), offset_limit(10_000.0)
        (1.0, 10.0)
    """
    within("centre", centre, 10.0, 20_000.0, "mm")
    return min(max(centre / 1000.0, 1.0), 10.0)
