"""Words that survey files use for things, in English and Spanish: what is looked for, and how words are compared.

Letter case, accents, plurals, underscores, digits, and whether words are written apart do not matter.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import Final

WORDS: Final[dict[str, str]] = {
    "buried": """buried, underground, ug, below ground, subsurface, enterrado, enterrada, soterrado, soterrada, subterraneo, subterranea,
        bajo tierra""",
    "buried utility": """pipeline, pipe line, pipe, conduit, duct, culvert, cable, main$, main line, force main, gas main, water main,
        irrigation main, gas, gas line, gas pipe, gas service, natural gas, gas meter, gas valve, gas riser, water line,
        water pipe, water service,
        supply line, irrigation line, irrigation pipe, sewer, sewer line, sewer main, sanitary sewer, storm sewer, storm drain, manhole,
        fiber, fibre, fiber optic, fibre optic, fo line, telecom, telephone, telephone line, phone line, comm, comm line, comms,
        communication, communication line, tv cable, internet, wtr line, wtr main, wtr, san sewer, telephone cable, petroleum pipeline,
        tuberia, tubo, cano, caneria, ducto, gasoducto, oleoducto, poliducto, acueducto, alcantarillado, alcantarilla, cloaca, colector,
        drenaje sanitario, fibra, fibra optica, telefono, linea telefonica, cable telefonico, telecomunicacion, linea de gas,
        linea de agua, linea de riego, red de agua, red de gas, gas natural, red de riego, electrico subterraneo, matriz""",
    "overhead power line": """overhead, overhead line, overhead wire, oh, oh line, ohl, ohe, ohp, power line, power$,
        power cable, pwr, pwr line,
        electric, electric line, electrical, electrical line, electricity, elec, elec line, transmission, transmission line,
        distribution line,
        high voltage, hv, hv line, lv line, kv line, service drop, utility pole, power pole, electric pole, light pole, telephone pole,
        pylon, transmission tower, guy wire, transformer, substation, linea electrica, tendido, tendido electrico, linea aerea, cable aereo,
        alta tension, media tension, baja tension, linea de alta tension, linea de media tension, linea de baja tension,
        linea de luz, cable de luz,
        poste de luz, poste electrico, torre electrica, torre de alta tension, red electrica, electricidad, electrico, electrica, catenaria,
        transformador, subestacion, aereo, aerea""",
    "utility": "utility, utility line, service line, servicio, linea de servicio",
    "propane tank": """propane, propane tank, prop tank, lpg, lp gas, lp tank, gas tank, fuel, fuel tank, diesel, diesel tank, gasoline,
        petrol, oil tank, heating oil, chemical store, chemical storage, pesticide store, fertilizer tank, fertiliser tank, ammonia,
        propano, gas lp, tanque de gas, tanque de propano, tanque de combustible, tanque de diesel, tanque gas, tanque propano,
        combustible, gasoil, gasolina, bombona, deposito de gas, deposito de combustible, deposito de gasoil""",
    "septic field": """septic, septic tank, septic field, septic system, sept, sept tank, drain field, leach, leach field, leach line,
        absorption field, seepage pit, cesspool, cesspit, sewage, waste water, effluent, outhouse, latrine, privy, septic riser, septic lid,
        fosa, fosa septica, tanque septico, septico, septica, pozo negro, pozo septico, pozo ciego, pozo absorbente, camara septica,
        campo de drenaje, campo de absorcion, campo de infiltracion, lecho de drenaje, lecho de infiltracion,
        zanja de infiltracion, letrina,
        aguas negras, aguas residuales""",
    "well": """well, well head, water well, monitoring well, bore hole, bore, bore well, tube well, piezometer, pozo,
        pozo de agua, pozo profundo,
        perforacion, noria, sondeo, piezometro""",
    "tank": "tank, storage tank, tanque, deposito",
    "cistern": "cistern, water tank, water storage, wtr tank, cisterna, aljibe, tinaco, tanque de agua, deposito de agua, tanque agua",
    "tile drain": """tile, tile drain, tile line, drain tile, field tile, drain, drain line, drain pipe, french drain, field drain,
        subsurface drain, drainage, drainage tile, dren, drenaje, dren subterraneo, tubo de drenaje, linea de drenaje, dren agricola,
        tuberia de drenaje""",
    "water": """creek, crk, stream, river, brook, ditch, drainage ditch, irrigation ditch, drain ditch, canal, pond, lake,
        lagoon, wetland, marsh,
        swamp, slough, bayou, spring, water course, water way, water body, reservoir, water$, shore line, river bank, hydrography,
        arroyo, acequia, zanja, zanja de drenaje, cuneta, rio, riachuelo, quebrada, laguna, lago, estanque, charca, charco,
        embalse, represa,
        presa, humedal, pantano, manantial, ojo de agua, vertiente, ribera, naciente, estero, canal de riego, cauce""",
    "road": """road, rd, street, drive way, drive$, dwy, lane, track, highway, hwy, rail way, rail road, avenue,
        camino, carretera, calle, ruta, autopista, ferrocarril, via ferrea, via$, avenida, acceso""",
    "building": """house, home, mobile home, farm house, dwelling, residence, building, bldg, structure, barn, pole barn, shed,
        garage, green house,
        shop, cabin, silo, foot print, office, school, church, hangar, stable, coop, pump house, trailer, power house,
        casa, edificio, edificacion, construccion, vivienda, galpon, bodega, granero, establo, cobertizo, garaje, nave,
        invernadero, oficina,
        escuela, iglesia, caseta, cabana""",
    "trees": """wood lot, woods, wood land, forest, existing tree, tree line, trees, wind break, shelter belt, bosque, arboleda, monte,
        cortina de arboles, cortavientos, rompevientos""",
    "fence": "fence, wall, hedge, electric fence, gate, cerca, cerco, cerca electrica, valla, muro, tapia, pared, seto, alambrado, barda",
    "no planting": """no plant, no planting, keep out, keep clear, exclusion, exclude, excluded, exclusion zone, turning yard, turning area,
        turning place, parking, parking lot, easement, right of way, servidumbre, derecho de via, estacionamiento, no plantar,
        zona de exclusion,
        gas easement, power easement, utility easement, road easement, drainage easement""",
    "water points": """water point, riser, irrigation riser, hydrant, fire hydrant, stand pipe, spigot, tap, faucet, hose bib, hose bibb,
        irrigation point, irrigation valve, irrigation$, valve, outlet, water outlet, toma, toma de agua, toma de riego, hidrante,
        hidrante de riego, boca de riego, llave, llave de paso, grifo, canilla, punto de agua, punto de riego, valvula, valvula de riego,
        elevador""",
    "an area to plant": """block, field, plot, paddock, orchard, planting, planting area, vineyard, grove, bloque, huerto,
        huerta, cuartel, campo,
        vinedo, olivar, potrero""",
    "a property line": """boundary, parcel, property, property line, lot, lot line, property boundary, lindero, limite, predio,
        lote, parcela,
        linde""",
    "a line or a mark of the survey": """screen, screen line, guide, guide line, row line, contour, contour line, soil sample, soil pit,
        control point, benchmark, monument, terrace,
        terrace edge, bench, bluff, crest, brow, terraza, bancal, talud,
        survey marker, survey mark, photo point, curva de nivel, punto de control, mojon, muestra de suelo""",
}
"""Phrases by the thing they mean, in singular; "$" behind one: only where it ends the text."""
PREPOSITIONS: Final = frozenset(
    [
        "to",
        "for",
        "at",
        "near",
        "nr",
        "by",
        "from",
        "along",
        "behind",
        "beside",
        "with",
        "in",
        "on",
        "under",
        "over",
        "of",
        "hacia",
        "junto",
        "cerca de",
        "para",
        "al",
        "desde",
        "con",
        "en",
        "bajo",
        "sobre",
    ]
)
ONE_WORD: Final = frozenset(["bajo tierra", "of way", "on site", "under ground", "over head"])
"""Phrases with a preposition in them."""
SPANISH: Final = frozenset(["de", "del", "la", "el", "los", "las", "y"])


def words_of(text: str) -> str:
    """Return a name as words: lower case, without accents and digits, single spaces, camel case parted.

    >>> words_of("OverheadLine_2"), words_of("septic-field"), words_of("LÍNEA eléctrica")
    ('overhead line', 'septic field', 'linea electrica')
    """
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", plain)
    return " ".join(re.findall(r"[^\W\d_]+", parted)).lower()


def things_in(text: str) -> tuple[tuple[str, int], ...]:
    """Return what a text speaks of.

    >>> things_in("Pozo de la casa"), things_in("barn riser"), things_in("road to the well"), things_in("SEPTICTANKS")
    ((('well', 3), ('building', 0)), (('building', 1), ('water points', 0)), (('road', 0),), (('septic field', 0),))
    """
    tokens = _before_preposition(words_of(text).split())
    found: list[tuple[int, int, str]] = []
    free = [True] * len(tokens)
    longest = max((len(phrase) for phrase in _phrases()), default=1)
    for size in range(min(longest, len(tokens)), 0, -1):
        for start in range(len(tokens) - size + 1):
            run = tokens[start : start + size]
            thing = _phrases().get(tuple(_stem(word) for word in run)) or _joined().get("".join(run[:-1]) + _stem(run[-1]))
            if thing is None or not all(free[start : start + size]):
                continue
            key, last = thing
            if last and start + size < len(tokens):
                continue
            free[start : start + size] = [False] * size
            found.append((start, start + size - 1, key))
    return tuple((key, len(tokens) - 1 - end) for _, end, key in sorted(found))


def is_spanish(text: str) -> bool:
    """Tell whether a text puts the thing itself first, as Spanish does.

    >>> is_spanish("toma del pozo"), is_spanish("well riser")
    (True, False)
    """
    return not SPANISH.isdisjoint(words_of(text).split())


def _before_preposition(tokens: list[str]) -> list[str]:
    """Return what stands before the first preposition; two words that make a phrase are none."""
    for k, word in enumerate(tokens):
        pair = " ".join(tokens[k : k + 2])
        if pair not in ONE_WORD and (word in PREPOSITIONS or pair in PREPOSITIONS):
            return tokens[:k]
    return tokens


def _stem(word: str) -> str:
    """Return a word without the endings of plurals, the same for singular and plural."""
    bare = word[:-1] if word.endswith("s") and not word.endswith("ss") and len(word) > 3 else word
    bare = bare[:-1] if bare.endswith("e") and len(bare) > 3 else bare
    return bare[:-1] + "y" if bare.endswith("i") and len(bare) > 3 else bare


@lru_cache(maxsize=1)
def _phrases() -> dict[tuple[str, ...], tuple[str, bool]]:
    """Return what each phrase means, by the stems of its words, and whether it has to end the text."""
    out: dict[tuple[str, ...], tuple[str, bool]] = {}
    for key, text in WORDS.items():
        for phrase in text.split(","):
            words = phrase.strip().removesuffix("$").split()
            out[tuple(_stem(word) for word in words)] = (key, phrase.strip().endswith("$"))
    return out


@lru_cache(maxsize=1)
def _joined() -> dict[str, tuple[str, bool]]:
    """Return what each phrase means when its words are written together."""
    out: dict[str, tuple[str, bool]] = {}
    for key, text in WORDS.items():
        for phrase in text.split(","):
            words = phrase.strip().removesuffix("$").split()
            out["".join(words[:-1]) + _stem(words[-1])] = (key, phrase.strip().endswith("$"))
    return out
