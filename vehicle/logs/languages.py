"""What headers are called in other languages: one line a parameter, one entry a language. To be extended by anyone.

Names are tidy names of `vehicle.logs.columns.PARAMETERS` (or its roles, such as "time"). Accents, capitals, the order
of words and the small words of `FILLERS` make no difference: "Temp. de l'air d'admission" is the same as
"temperature air admission". From common use, no source.
"""

from __future__ import annotations

# Small words that carry no meaning in a header, by language.
FILLERS: dict[str, tuple[str, ...]] = {
    "de": ("der", "die", "das", "des", "dem", "im", "am", "vom", "und", "aktuelle", "aktueller", "wert", "seit"),
    "fr": ("de", "du", "des", "la", "le", "les", "d", "l", "au", "depuis"),
    "es": ("de", "del", "la", "el", "los", "las", "en", "desde"),
}

WORDS: dict[str, dict[str, tuple[str, ...]]] = {
    "time": {
        "de": ("Zeit", "Zeitstempel", "Uhrzeit", "verstrichene Zeit", "Sekunden", "Laufzeit Messung", "Messzeit"),
        "fr": ("temps", "temps écoulé", "horodatage", "heure", "secondes"),
        "es": ("tiempo", "tiempo transcurrido", "marca de tiempo", "hora", "segundos"),
    },
    "date": {"de": ("Datum",), "fr": ("jour",), "es": ("fecha",)},
    "speed_m_s": {
        "de": ("Geschwindigkeit", "Fahrzeuggeschwindigkeit", "Fahrgeschwindigkeit", "Tempo"),
        "fr": ("vitesse", "vitesse véhicule"),
        "es": ("velocidad", "velocidad vehículo", "velocidad coche"),
    },
    "gps_speed_m_s": {
        "de": ("GPS Geschwindigkeit", "Geschwindigkeit GPS", "Satellitengeschwindigkeit"),
        "fr": ("vitesse GPS", "vitesse satellite"),
        "es": ("velocidad GPS", "velocidad satélite"),
    },
    "engine_speed_rad_s": {
        "de": ("Drehzahl", "Motordrehzahl", "Umdrehungen", "Drehzahl Motor", "Kurbelwellendrehzahl"),
        "fr": ("régime", "régime moteur", "vitesse moteur", "tours moteur", "régime de rotation"),
        "es": ("régimen", "régimen motor", "revoluciones", "revoluciones motor", "velocidad motor", "giro motor"),
    },
    "calculated_load": {
        "de": ("Last", "Motorlast", "berechnete Last", "berechnete Motorlast", "Lastwert", "berechneter Lastwert"),
        "fr": ("charge", "charge moteur", "charge calculée", "charge moteur calculée"),
        "es": ("carga", "carga motor", "carga calculada", "carga calculada motor"),
    },
    "absolute_load": {
        "de": ("absolute Last", "absoluter Lastwert", "absolute Motorlast"),
        "fr": ("charge absolue", "charge moteur absolue"),
        "es": ("carga absoluta", "carga absoluta motor"),
    },
    "manifold_pressure_pa": {
        "de": ("Saugrohrdruck", "Ansaugdruck", "Krümmerdruck", "Saugrohrdruck absolut", "Ansaugkrümmerdruck"),
        "fr": (
            "pression admission",
            "pression collecteur",
            "pression collecteur admission",
            "pression absolue admission",
            "pression absolue collecteur",
            "pression absolue collecteur admission",
            "pression tubulure admission",
        ),
        "es": (
            "presión admisión",
            "presión colector",
            "presión colector admisión",
            "presión absoluta colector",
            "presión absoluta admisión",
            "presión absoluta colector admisión",
            "presión múltiple admisión",
        ),
    },
    "boost_pa": {
        "de": ("Ladedruck", "Überdruck Ladedruck"),
        "fr": ("pression suralimentation", "pression turbo"),
        "es": ("presión turbo", "presión sobrealimentación"),
    },
    "air_flow_kg_s": {
        "de": ("Luftmasse", "Luftmassenstrom", "Luftmassenmesser", "Ansaugluftmasse", "Luftmengenmesser"),
        "fr": ("débit air", "débit massique air", "débitmètre", "débit air admission", "débit air massique"),
        "es": ("flujo aire", "flujo masa aire", "caudal aire", "caudal másico aire", "flujo másico aire"),
    },
    "intake_temperature_k": {
        "de": ("Ansauglufttemperatur", "Ansaugtemperatur", "Temperatur Ansaugluft", "Lufttemperatur Ansaugung"),
        "fr": ("température admission", "température air admission"),
        "es": ("temperatura admisión", "temperatura aire admisión"),
    },
    "coolant_temperature_k": {
        "de": (
            "Kühlmitteltemperatur",
            "Kühlwassertemperatur",
            "Motortemperatur",
            "Wassertemperatur",
            "Temperatur Kühlmittel",
        ),
        "fr": (
            "température liquide refroidissement",
            "température eau",
            "température moteur",
            "température liquide refroidissement moteur",
        ),
        "es": (
            "temperatura refrigerante",
            "temperatura líquido refrigerante",
            "temperatura agua",
            "temperatura motor",
            "temperatura refrigerante motor",
        ),
    },
    "ambient_temperature_k": {
        "de": ("Außentemperatur", "Umgebungstemperatur", "Außenlufttemperatur"),
        "fr": ("température extérieure", "température ambiante", "température air ambiant"),
        "es": ("temperatura exterior", "temperatura ambiente", "temperatura aire ambiente"),
    },
    "barometric_pressure_pa": {
        "de": ("Luftdruck", "Umgebungsdruck", "Atmosphärendruck", "barometrischer Druck"),
        "fr": ("pression atmosphérique", "pression barométrique"),
        "es": ("presión atmosférica", "presión barométrica"),
    },
    "fuel_rate_m3_s": {
        "de": (
            "Kraftstoffverbrauch Stunde",
            "Kraftstoffdurchfluss",
            "Kraftstoffrate",
            "Verbrauchsrate",
            "momentaner Kraftstoffdurchfluss",
        ),
        "fr": ("débit carburant", "débit essence", "consommation horaire"),
        "es": ("caudal combustible", "flujo combustible", "tasa combustible", "consumo horario"),
    },
    "consumption_m3_m": {
        "de": ("Verbrauch", "Kraftstoffverbrauch", "Momentanverbrauch"),
        "fr": ("consommation", "consommation instantanée", "consommation carburant"),
        "es": ("consumo", "consumo instantáneo", "consumo combustible"),
    },
    "throttle": {
        "de": ("Drosselklappe", "Drosselklappenstellung", "Drosselklappenposition", "Drosselklappenwinkel"),
        "fr": ("papillon", "position papillon", "ouverture papillon", "position papillon gaz"),
        "es": ("mariposa", "posición mariposa", "apertura mariposa", "posición acelerador mariposa"),
    },
    "pedal": {
        "de": ("Fahrpedal", "Gaspedal", "Gaspedalstellung", "Fahrpedalstellung", "Pedalwert"),
        "fr": ("pédale", "pédale accélérateur", "position pédale accélérateur", "position accélérateur"),
        "es": ("pedal acelerador", "posición pedal acelerador", "posición acelerador"),
    },
    "short_term_trim_1": {
        "de": ("Kurzzeit Kraftstofftrimm", "kurzfristige Gemischkorrektur", "Kurzzeit Gemischadaption"),
        "fr": ("correction carburant court terme", "correction court terme"),
        "es": ("ajuste combustible corto plazo", "ajuste corto plazo"),
    },
    "long_term_trim_1": {
        "de": ("Langzeit Kraftstofftrimm", "langfristige Gemischkorrektur", "Langzeit Gemischadaption"),
        "fr": ("correction carburant long terme", "correction long terme"),
        "es": ("ajuste combustible largo plazo", "ajuste largo plazo"),
    },
    "run_time_s": {
        "de": ("Motorlaufzeit", "Laufzeit Motor", "Zeit seit Motorstart", "Zeit Motorstart"),
        "fr": ("temps fonctionnement moteur", "temps démarrage moteur", "durée fonctionnement moteur"),
        "es": ("tiempo funcionamiento motor", "tiempo arranque motor", "tiempo motor encendido"),
    },
    "control_module_voltage_v": {
        "de": ("Bordspannung", "Batteriespannung", "Steuergerätespannung"),
        "fr": ("tension batterie", "tension calculateur"),
        "es": ("voltaje batería", "tensión batería", "voltaje módulo control"),
    },
    "fuel_level": {
        "de": ("Tankinhalt", "Kraftstoffstand", "Tankfüllstand"),
        "fr": ("niveau carburant", "niveau essence"),
        "es": ("nivel combustible", "nivel depósito"),
    },
    "brake": {
        "de": ("Bremse", "Bremspedal", "Bremslicht"),
        "fr": ("frein", "pédale frein"),
        "es": ("freno", "pedal freno"),
    },
    "grade": {
        "de": ("Steigung", "Straßensteigung"),
        "fr": ("pente", "pente route"),
        "es": ("pendiente", "pendiente vía"),
    },
    "altitude_m": {"de": ("Höhe", "Höhe GPS"), "fr": ("altitude GPS",), "es": ("altitud", "altitud GPS")},
    "latitude_deg": {"de": ("Breitengrad", "geografische Breite"), "fr": (), "es": ("latitud",)},
    "longitude_deg": {"de": ("Längengrad", "geografische Länge"), "fr": (), "es": ("longitud",)},
    "head_wind_m_s": {
        "de": ("Gegenwind",),
        "fr": ("vent face", "vent debout"),
        "es": ("viento frente", "viento contra"),
    },
    "electrical_power_w": {
        "de": ("elektrische Leistung",),
        "fr": ("puissance électrique",),
        "es": ("potencia eléctrica",),
    },
    "rotor_speed_rad_s": {"de": ("Rotordrehzahl",), "fr": ("régime rotor",), "es": ("revoluciones rotor",)},
}

# Words of units, in the singular as `vehicle.logs.columns` spells them.
UNIT_WORDS: dict[str, str] = {
    "sekunde": "s",
    "sekunden": "s",
    "sek": "s",
    "minute": "min",
    "minuten": "min",
    "stunde": "h",
    "stunden": "h",
    "umdrehungen": "rev",
    "umdr": "rev",
    "u": "rev",
    "liter": "l",
    "gramm": "g",
    "grad": "deg",
    "prozent": "%",
    "seconde": "s",
    "secondes": "s",
    "heure": "h",
    "heures": "h",
    "tours": "rev",
    "tour": "rev",
    "tr": "rev",
    "litres": "l",
    "litre": "l",
    "grammes": "g",
    "pourcent": "%",
    "segundo": "s",
    "segundos": "s",
    "minuto": "min",
    "minutos": "min",
    "hora": "h",
    "horas": "h",
    "revoluciones": "rev",
    "vueltas": "rev",
    "litro": "l",
    "litros": "l",
    "gramos": "g",
    "porcentaje": "%",
}
