"""What customers read, by message id and language: care cards and labels.

Values stand in braces. The English of care lines is the domain's own. Wording by us; a shop that
sells in a language has someone who speaks it read these first.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from service.domain.care_card import CARE_ENGLISH


class Language(StrEnum):
    """Languages of what customers read, by ISO 639-1; from memory."""

    ENGLISH = "en"
    SPANISH = "es"
    GERMAN = "de"
    FRENCH = "fr"


_ENGLISH = {
    **CARE_ENGLISH,
    "card.title": "Care card",
    "card.kind.wait": "First",
    "card.kind.wash": "Washing",
    "card.kind.bleach": "Bleaching",
    "card.kind.dry": "Drying",
    "card.kind.iron": "Ironing",
    "card.kind.professional": "Professional care",
    "card.unknown": "How this garment is cared for is not known: follow the garment's own label.",
    "card.own-garment": "Your own garment",
    "card.own-label": "Where the garment's own label asks for more care, follow the label.",
    "card.about-drawings": (
        "The drawings are plain ones of our own. They are not the care symbols of a standard."
    ),
    "card.ticket": "Ticket {number}",
    "label.size": "Size",
    "label.piece": "{piece} of {pieces}",
    "label.pieces": "{pieces} pieces",
}

_SPANISH = {
    "care.wait.first-wash": "Espere 24 horas antes del primer lavado.",
    "care.wash.at-most": "Lave del revés a {wash_c} °C como máximo, con un detergente suave.",
    "care.wash.at-most-own-label": (
        "Lave del revés a {wash_c} °C como máximo, con un detergente suave, y nunca a más "
        "temperatura de la que indica la etiqueta de la prenda."
    ),
    "care.bleach.never": "No use lejía.",
    "care.dry.tumble-low": "Seque en secadora a baja temperatura, o tienda la prenda.",
    "care.dry.never-tumble": "No use secadora. Tienda la prenda.",
    "care.dry.own-label": (
        "Tienda la prenda; use la secadora a baja temperatura solo si la etiqueta de la prenda lo "
        "permite."
    ),
    "care.iron.never": "No planche.",
    "care.iron.reverse": (
        "Planche del revés a {iron_c} °C como máximo ({iron_dots} de 3 puntos), nunca sobre el "
        "estampado."
    ),
    "care.iron.reverse-own-label": (
        "Planche del revés a {iron_c} °C como máximo ({iron_dots} de 3 puntos), nunca sobre el "
        "estampado, y nunca a más temperatura de la que indica la etiqueta de la prenda."
    ),
    "care.professional.never": "No limpie en seco.",
    "care.professional.own-label": ("Limpie en seco solo si la etiqueta de la prenda lo permite."),
    "card.title": "Tarjeta de cuidado",
    "card.kind.wait": "Primero",
    "card.kind.wash": "Lavado",
    "card.kind.bleach": "Blanqueo",
    "card.kind.dry": "Secado",
    "card.kind.iron": "Planchado",
    "card.kind.professional": "Cuidado profesional",
    "card.unknown": ("No se sabe cómo se cuida esta prenda: siga la etiqueta de la propia prenda."),
    "card.own-garment": "Su propia prenda",
    "card.own-label": "Si la etiqueta de la prenda pide más cuidado, siga la etiqueta.",
    "card.about-drawings": (
        "Los dibujos son sencillos y nuestros. No son los símbolos de cuidado de ninguna norma."
    ),
    "card.ticket": "Orden de trabajo {number}",
    "label.size": "Talla",
    "label.piece": "{piece} de {pieces}",
    "label.pieces": "{pieces} piezas",
}

_GERMAN = {
    "care.wait.first-wash": "Vor der ersten Wäsche 24 Stunden warten.",
    "care.wash.at-most": (
        "Auf links bei höchstens {wash_c} °C mit einem milden Waschmittel waschen."
    ),
    "care.wash.at-most-own-label": (
        "Auf links bei höchstens {wash_c} °C mit einem milden Waschmittel waschen und nie heißer, "
        "als das Etikett des Kleidungsstücks angibt."
    ),
    "care.bleach.never": "Nicht bleichen.",
    "care.dry.tumble-low": ("Im Trockner bei niedriger Temperatur oder auf der Leine trocknen."),
    "care.dry.never-tumble": "Nicht in den Trockner geben. Auf der Leine trocknen.",
    "care.dry.own-label": (
        "Auf der Leine trocknen; in den Trockner bei niedriger Temperatur nur, wenn das Etikett "
        "des Kleidungsstücks es erlaubt."
    ),
    "care.iron.never": "Nicht bügeln.",
    "care.iron.reverse": (
        "Auf links bei höchstens {iron_c} °C bügeln ({iron_dots} von 3 Punkten), nie über den "
        "Druck."
    ),
    "care.iron.reverse-own-label": (
        "Auf links bei höchstens {iron_c} °C bügeln ({iron_dots} von 3 Punkten), nie über den "
        "Druck und nie heißer, als das Etikett des Kleidungsstücks angibt."
    ),
    "care.professional.never": "Nicht chemisch reinigen.",
    "care.professional.own-label": (
        "Chemisch reinigen nur, wenn das Etikett des Kleidungsstücks es erlaubt."
    ),
    "card.title": "Pflegekarte",
    "card.kind.wait": "Zuerst",
    "card.kind.wash": "Waschen",
    "card.kind.bleach": "Bleichen",
    "card.kind.dry": "Trocknen",
    "card.kind.iron": "Bügeln",
    "card.kind.professional": "Professionelle Pflege",
    "card.unknown": (
        "Wie dieses Kleidungsstück zu pflegen ist, ist nicht bekannt: Bitte dem Etikett des "
        "Kleidungsstücks folgen."
    ),
    "card.own-garment": "Ihr eigenes Kleidungsstück",
    "card.own-label": (
        "Wo das Etikett des Kleidungsstücks mehr Vorsicht verlangt, gilt das Etikett."
    ),
    "card.about-drawings": (
        "Die Zeichnungen sind einfach und unsere eigenen. Sie sind nicht die Pflegesymbole einer "
        "Norm."
    ),
    "card.ticket": "Auftragszettel {number}",
    "label.size": "Größe",
    "label.piece": "{piece} von {pieces}",
    "label.pieces": "{pieces} Stück",
}

_FRENCH = {
    "care.wait.first-wash": "Attendez 24 heures avant le premier lavage.",
    "care.wash.at-most": "Lavez à l'envers à {wash_c} °C au plus, avec une lessive douce.",
    "care.wash.at-most-own-label": (
        "Lavez à l'envers à {wash_c} °C au plus, avec une lessive douce, et jamais à une "
        "température plus élevée que celle indiquée sur l'étiquette du vêtement."
    ),
    "care.bleach.never": "N'utilisez pas d'eau de Javel.",
    "care.dry.tumble-low": "Séchez en machine à basse température, ou sur un fil.",
    "care.dry.never-tumble": "Ne séchez pas en machine. Séchez sur un fil.",
    "care.dry.own-label": (
        "Séchez sur un fil ; en machine à basse température seulement si l'étiquette du vêtement "
        "le permet."
    ),
    "care.iron.never": "Ne repassez pas.",
    "care.iron.reverse": (
        "Repassez à l'envers à {iron_c} °C au plus ({iron_dots} points sur 3), jamais sur "
        "l'impression."
    ),
    "care.iron.reverse-own-label": (
        "Repassez à l'envers à {iron_c} °C au plus ({iron_dots} points sur 3), jamais sur "
        "l'impression, et jamais à une température plus élevée que celle indiquée sur l'étiquette "
        "du vêtement."
    ),
    "care.professional.never": "Ne nettoyez pas à sec.",
    "care.professional.own-label": (
        "Nettoyez à sec seulement si l'étiquette du vêtement le permet."
    ),
    "card.title": "Fiche d'entretien",
    "card.kind.wait": "D'abord",
    "card.kind.wash": "Lavage",
    "card.kind.bleach": "Blanchiment",
    "card.kind.dry": "Séchage",
    "card.kind.iron": "Repassage",
    "card.kind.professional": "Entretien professionnel",
    "card.unknown": (
        "On ne sait pas comment entretenir ce vêtement : suivez l'étiquette du vêtement."
    ),
    "card.own-garment": "Votre propre vêtement",
    "card.own-label": (
        "Si l'étiquette du vêtement demande plus de précautions, suivez l'étiquette."
    ),
    "card.about-drawings": (
        "Les dessins sont simples et les nôtres. Ce ne sont pas les symboles d'entretien d'une "
        "norme."
    ),
    "card.ticket": "Fiche de travail {number}",
    "label.size": "Taille",
    "label.piece": "{piece} sur {pieces}",
    "label.pieces": "{pieces} pièces",
}

MESSAGES: Final[Mapping[Language, Mapping[str, str]]] = MappingProxyType(
    {
        Language.ENGLISH: _ENGLISH,
        Language.SPANISH: _SPANISH,
        Language.GERMAN: _GERMAN,
        Language.FRENCH: _FRENCH,
    }
)
"""Every message in every language."""


def message(language: Language, id_: str, **values: object) -> str:
    """The message with its values in it; KeyError for an id or a value that is missing."""
    return MESSAGES[language][id_].format(**values)
