"""What every key of the result documents means; the published schemas carry these words."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

COMMON: Final[Mapping[str, str]] = MappingProxyType(
    {
        "schema": "name and version of the form of this document",
        "photo": "The photo. Every _px value counts in pixels of the full upright photo: x right, "
        "y down, 0-based, integer = pixel centre.",
        "card": "The sheet. Card frame: mm, x right, y down, origin in the middle of the sheet.",
        "findings": "what is worth telling, most important first",
        "limits": "What was tolerated: settings of the workshop, no standard. Every key but name "
        "is a limit.",
        "provenance": "versions, and every stage with all its parameters",
        "probability": "that the hole keeps all its limits; null when that cannot be told",
        "reason": "why the hole is unsure; empty otherwise",
        "doubts": "why the hole is unsure, the reason told first: stable words; empty otherwise",
        "limit": "name of the limit, as under limits",
        "u": "its expanded uncertainty, 95 %",
        "unit": "of value, u and allowed",
        "verdict": "there is none",
        "error": "why not",
        "centroid_px": "in the full photo; pixels",
        "area_mm2": "wetted area",
        "holes": "empty where holes could not be matched",
        "deviation_deg": "deviation from its line; degrees",
    }
)
"""Key that means the same wherever it stands."""

KEYS: Final[Mapping[str, Mapping[str, str]]] = MappingProxyType(
    {
        "HolesDocument": {
            "centre": "where the nozzle stood over the card",
            "plumes": "what each hole left on the card, clockwise from 12 o'clock",
            "rotation_u_deg": "expanded (95 %) uncertainty of the turn of the whole pattern; "
            "degrees",
            "holes": "one entry per expected hole, those without a plume too",
            "strays": "ids of plumes that belong to no hole",
            "marks": "what is wet, or looks so, and is no plume",
            "verdict": "an aid, not a certificate: the maker's manual, local rules and licensed "
            "practice decide",
            "quality": "how far the photo can be trusted, measured on the photo itself; null "
            "where it was not looked at",
            "angles": "angles that the tip's height over the card gives; null when the height was "
            "not given; uncertainties hold 95 %",
            "layout": "what was expected",
            "lined_up_with": "feature that 12 o'clock on the card was lined up with, so that the "
            "turn of the whole pattern is judged; null when nobody said so",
            "probability": "that the nozzle keeps every limit; null when that cannot be told",
        },
        "Photo": {
            "file": "path as given; null for a picture that did not come from a file",
            "sha256": "of the file's bytes (of the pixels for an array), lower-case hexadecimal; "
            "null when the file could not be read",
            "width_px": "width of the full upright photo; pixels; null when the file could not be "
            "read",
            "height_px": "height of the full upright photo; pixels; null when the file could not "
            "be read",
            "taken_at": "when it was taken, ISO 8601, local time with its offset where the camera "
            "states one; null when unknown",
            "focal_35mm": "focal length as equivalent on 36 x 24 mm film; mm; null when unknown",
            "flags": "what to doubt about the photo: stable words, each explained in the "
            "package's table of flags",
        },
        "Card": {
            "found_by": "how the sheet was found",
            "mm_per_px": "scale at the nozzle centre, or the patch's middle; mm per photo pixel; "
            "null without a known scale",
            "size_mm": "width and height of the sheet; mm; null without a known scale",
            "flags": "what to doubt about the card: stable words, each explained in the package's "
            "table of flags",
            "corners_px": "corners of the sheet, clockwise from the card's top left; pixels of the "
            "full upright photo; null when no sheet was found",
            "printed": "what the project's own target card says about itself and how well it was "
            "read; null for a plain sheet",
        },
        "Printed": {
            "paper": "paper size, known from the markers",
            "version": "version of the card's artwork",
            "job": "job, from the QR code: text anyone can print, never mark-up; null when none "
            "or not read",
            "injector": "injector, from the QR code, as job",
            "markers_seen": "markers used",
            "markers_total": "markers on the card",
            "residual_mm": "root mean square distance of the markers from where the fitted card "
            "has them; mm",
            "scale_u_frac": "relative standard uncertainty of all lengths",
            "printed_x_mm": "level check line as the user measured it, nominally 100; mm; null "
            "when not measured",
            "printed_y_mm": "upright check line as the user measured it, nominally 100; mm; null "
            "when not measured",
            "index_u_deg": "uncertainty (95 %) of the direction of the card's index arrow in the "
            "photo; degrees",
            "edge_x_mm": "sharpness: over how many mm the card's upright printed edges rise from "
            "10 % to 90 %; mm; null when too blurred to tell",
            "edge_y_mm": "sharpness: over how many mm the card's level printed edges rise from 10 "
            "% to 90 %; mm; null when too blurred to tell",
            "sheet_asked": "size of the sheet as it was asked for, where the card's own print "
            "says another and was taken; null otherwise",
        },
        "Centre": {
            "x_px": "pixels",
            "y_px": "pixels",
            "x_mm": "mm in the card frame; null without a known scale",
            "y_mm": "mm in the card frame; null without a known scale",
            "u_px": "radius of the region that holds the centre with 95 % probability; pixels at "
            "the centre",
            "u_mm": "the same; mm; null without a known scale",
            "found_by": "which cues gave it",
            "flags": "what to doubt about the centre: stable words, each explained in the "
            "package's table of flags",
        },
        "Plume": {
            "id": "number of the plume in this document, from 1",
            "direction_deg": "direction from the nozzle centre; degrees clockwise from 12 o'clock "
            "on the card, in [0, 360)",
            "direction_u_deg": "expanded (95 %) uncertainty of the direction relative to the "
            "other plumes; degrees",
            "width_deg": "angle under which the wetted patch is seen from the centre; degrees",
            "near_mm": "distance of the patch's near end from the centre; mm; null without a "
            "known scale",
            "reach_mm": "distance of the patch's far end from the centre; mm; null without a "
            "known scale",
            "area_mm2": "wetted area; mm2; null without a known scale",
            "area_u_mm2": "expanded (95 %) uncertainty of the wetted area; mm2; null without a "
            "known scale",
            "area_frac": "share of the wetted area of all plumes",
            "area_u_frac": "expanded (95 %) uncertainty of the share",
            "centroid_px": "centroid of the wetted patch; pixels of the full upright photo",
            "centroid_mm": "the same; mm in the card frame; null without a known scale",
            "axis_deg": "direction of the patch's own long axis, away from the centre; null when "
            "it has none; degrees clockwise from 12 o'clock on the card, in [0, 360)",
            "axis_px": "near and far end of that axis; pixels; null when it has none",
            "raggedness": "outline length over that of the ellipse of equal second moments; 1 is "
            "smooth",
            "drops_frac": "wetted area in separate drops around the plume, over the plume's area",
            "holes": "numbers of the holes this plume belongs to: one, several when merged, none "
            "for a stray",
            "flags": "what to doubt about the plume: stable words, each explained in the "
            "package's table of flags",
        },
        "Hole": {
            "hole": "from 1: in the order of the layout file, else clockwise from 12 o'clock",
            "expected_deg": "where it should spray: the layout turned to its best fit; degrees "
            "clockwise from 12 o'clock on the card, in [0, 360)",
            "plume": "id of its plume; null when it has none",
            "state": "judgement",
            "deviation_deg": "measured minus expected direction; degrees, clockwise positive; "
            "null without a plume",
            "deviation_u_deg": "expanded (95 %) uncertainty of the deviation; degrees; null "
            "without a plume",
            "spacing_deg": "to the next plume clockwise; degrees; null without a plume",
            "area_frac": "share of the wetted area of all plumes; 0 when blocked; null when not "
            "its own",
            "area_ratio": "wetted area over what this hole should wet, scaled so that the median "
            "clear hole is 1",
            "area_ratio_u": "expanded (95 %) uncertainty of the ratio",
        },
        "Spot": {
            "kind": "what it is; a drip lies at the centre",
            "centroid_px": "where it lies; pixels of the full upright photo",
            "area_frac": "its area over the wetted area of all plumes; null without plumes",
            "area_mm2": "its area; mm2; null without a known scale",
        },
        "Finding": {
            "code": "stable word",
            "hole": "number of the hole it is about; null for the whole card or photo",
            "text": "what was found and what to do, in plain words",
            "evidence": "the value and the limit behind it; null for a finding that has none",
        },
        "Evidence": {
            "value": "measured, in the limit's unit",
            "allowed": "the limit",
            "probability": "that the true value keeps the limit",
        },
        "Quality": {
            "measured_on": "edges the sharpness was taken from; null when none could be told",
            "edge_x_mm": "over how many mm upright edges rise from 10 to 90 %; mm; null without a "
            "known scale or when it cannot be told",
            "edge_y_mm": "the same of level edges; the two differ when the phone moved; mm",
            "edge_frac": "the wider of the two over the typical width of a plume",
            "mm_per_px": "of the picture as it was measured, in the middle of the card; mm per "
            "pixel; null without a known scale",
            "noise_frac": "standard deviation of dry paper's light from cell to cell over its "
            "light, grain included",
            "evenness_frac": "darkest over brightest light on dry paper",
            "clipped_frac": "share of dry paper's colour values that are over-exposed",
            "glare_frac": "share of the card where a lamp is mirrored so brightly that nothing is "
            "left to see",
            "outside_frac": "share of the sheet outside the photo",
            "view_deg": "how far from square-on the camera looked; degrees",
            "jpeg_quality": "how strongly a JPEG was compressed, 1 most to 100; null for other "
            "formats",
            "elapsed_s": "from spraying to photo; seconds; null when not known",
            "flags": "limits passed up to which the stated uncertainties hold: nothing passes on "
            "such a photo",
        },
        "Angles": {
            "height_mm": "of the tip over the card, as given; mm",
            "height_u_mm": "its uncertainty; mm",
            "spray_angle_deg": "included angle of the whole spray: twice the mean of the axis "
            "angles; degrees",
            "spray_angle_u_deg": "its uncertainty; degrees",
            "tilt_deg": "between nozzle axis and the card's normal; degrees; null with fewer than "
            "four plumes",
            "tilt_u_deg": "its uncertainty; degrees",
            "tilt_towards_deg": "direction to which the spray leans; degrees clockwise from 12 "
            "o'clock on the card",
            "plumes": "one entry per plume",
        },
        "PlumeAngles": {
            "id": "of the plume",
            "axis_angle_deg": "between the plume's axis and the nozzle axis, tilt taken off; "
            "degrees",
            "axis_angle_u_deg": "its uncertainty; degrees",
            "nominal_deg": "what the layout asks for; degrees; null when unknown",
            "cone_deg": "full angle of the plume's own cone, soaking included; degrees",
        },
        "Layout": {
            "name": "what the nozzle is called",
            "even": "only a hole count was given: equal holes, evenly spread",
            "counts_from": "feature of nozzle or holder that 0 degrees stands for; null when the "
            "azimuths count from nowhere in particular",
            "holes": "in file order",
        },
        "LayoutHole": {
            "azimuth_deg": "as the streaks lie on the card; degrees clockwise",
            "axis_angle_deg": "between the hole's axis and the nozzle axis; degrees; null when "
            "not given",
            "diameter_mm": "hole diameter; mm; null when not given",
            "row": "row of the nozzle the hole belongs to; wetted areas are compared within a row",
        },
        "Error": {
            "stage": "where it stopped: reading (the file), one of the stages, or internal (a "
            "mistake in the program)",
            "message": "what was found and what was expected",
            "hint": "what to try",
            "code": "stable word of the error; null for one that has none",
        },
        "AxialDocument": {
            "aim": "where the nozzle's axis was set over; null on a card without an aim",
            "patch": "the central patch",
            "sides": "what is wet beside the patch, largest first",
            "judged": "every limit, in the order of limits",
            "verdict": "pass and fail need proof; between the two, recheck",
            "probability": "that the nozzle keeps every judged limit; null when that cannot be "
            "told",
            "spray_angle_deg": "full angle of a cone as wide as the patch, an upper bound; null "
            "without the tip's height",
            "spray_angle_u_deg": "its expanded uncertainty, 95 %",
            "nozzle": "what the nozzle should do",
        },
        "Aim": {
            "source": "a printed card's own aim, the sheet's middle, or a place given",
            "x_mm": "on the card",
            "y_mm": "on the card",
            "u_mm": "expanded uncertainty of either",
        },
        "Patch": {
            "centroid_px": "middle of the filled outline in the full photo; pixels",
            "x_mm": "the same on the card",
            "y_mm": "the same on the card",
            "centre_u_mm": "expanded uncertainty of either, 95 %",
            "area_u_mm2": "its expanded uncertainty, 95 %",
            "diameter_mm": "of the circle as large as the filled outline",
            "diameter_u_mm": "its expanded uncertainty, 95 %",
            "ellipse_ratio": "minor over major axis of the filled outline's second moments; 1 is "
            "round",
            "form_factor": "4 pi times the area of the filled outline over its squared length; 1 "
            "is a circle",
            "heavy_side_frac": "share of the wetness on the patch's heavy side; 0.5 is even",
            "streak_frac": "root mean square of the harmonics 3 to 12 of the wetness by angle, "
            "over its mean",
            "core_ratio": "wetness in the middle, a quarter of the radius wide, over the crest of "
            "the radial profile",
            "hollow_offset_ratio": "distance of the hollow's middle from the outline's, over the "
            "diameter; null without a hollow",
            "offset_ratio": "distance of the patch from the aim, over its diameter; null without "
            "an aim",
            "side_frac": "share of the wetted area beside the patch",
            "heavy_side_frac_u": "expanded uncertainty of heavy_side_frac, 95 %",
            "streak_frac_u": "expanded uncertainty of streak_frac, 95 %",
            "core_ratio_u": "expanded uncertainty of core_ratio, 95 %",
            "hollow_offset_ratio_u": "expanded uncertainty of hollow_offset_ratio, 95 %",
            "offset_ratio_u": "expanded uncertainty of offset_ratio, 95 %",
            "side_frac_u": "expanded uncertainty of side_frac, 95 %",
            "ellipse_ratio_u": "expanded uncertainty of ellipse_ratio, 95 %",
            "form_factor_u": "expanded uncertainty of form_factor, 95 %",
            "heavy_side_deg": "direction of the heavy side, clockwise from 12 o'clock on the card",
            "offset_deg": "direction of the patch from the aim; null without an aim",
            "offset_mm": "distance from the aim",
            "hollow": "a hollow can be seen",
            "doubtful_frac": "share of the wetted area in spots that may be side spray or shadow; "
            "not in side_frac",
            "soaked_frac": "share of the filled outline that is as wet as the paper gets",
            "profile": "mean wetness by distance from the middle, in equal rings from 0 to 1.5 "
            "radii",
            "by_angle": "wetness by direction over its mean, in equal sectors clockwise from 12 "
            "o'clock",
            "outline_px": "outline in the full photo; pixels",
            "hollow_px": "outline of the hollow in the full photo; pixels; empty without one",
            "flags": "what to doubt",
        },
        "Side": {
            "direction_deg": "as seen from the central patch",
            "outline_px": "in the full photo; pixels",
        },
        "Judged": {
            "quantity": "which value of the patch it holds",
            "value": "measured",
            "allowed": "the limit; null when it is off",
            "probability": "that the true value keeps the limit; null when it is not judged",
            "state": "what became of it",
            "reason": "why it is not judged; empty otherwise",
        },
        "Nozzle": {
            "name": "what it is called",
            "kind": "sort of nozzle",
            "fill": "whether the spray should be a ring; either is not judged",
            "full_angle_deg": "full spray angle; null when not known",
        },
        "CombinationDocument": {
            "verdict": "an aid, not a certificate",
            "probability": "that the nozzle keeps every limit; a lower bound where holes is empty",
            "shots": "cards sprayed",
            "cards": "which card each photo shows",
            "matching": "how the holes of the photos were matched",
            "extremes": "mean over the shots of each shot's worst hole, where holes could not be "
            "matched",
            "widened": "factor on the stated uncertainties because shots scatter more than they "
            "explain",
            "photo_scatter": "scatter between photos of one card over a single photo's stated "
            "uncertainty",
            "photos": "each photo by itself",
        },
        "Matching": {
            "by": "how holes were matched; none where they could not be, surely",
            "probability": "that the best of all possible turns is the right one",
            "turn_deg": "turn of each photo's pattern against the first one's, clockwise; null "
            "where holes could not be matched",
            "note": "why not; empty when matched",
        },
        "CombinedHole": {
            "hole": "as numbered on the first photo",
            "state": "judgement over all shots",
            "intermittent": "faulty in some shots and surely not in others",
            "shots": "cards that say something of this hole",
            "expected_deg": "where it should spray, on the first photo; degrees clockwise from 12 "
            "o'clock",
            "deviation_deg": "mean deviation from its line; degrees, clockwise positive",
            "deviation_u_deg": "its expanded uncertainty, 95 %; degrees; null where intermittent",
            "area_frac": "mean share of the wetted area of all plumes",
            "area_ratio": "mean wetted area over what this hole should wet",
            "area_ratio_u": "its expanded uncertainty, 95 %; null where intermittent",
            "shot_sd_deg": "standard deviation of the direction from shot to shot; degrees",
            "photo_sd_deg": "the same from photo to photo of one card; degrees",
            "shot_sd_ratio": "standard deviation of the wetted area from shot to shot, relative",
            "photo_sd_ratio": "the same from photo to photo of one card",
            "each": "on each photo, in order",
        },
        "HoleOnPhoto": {
            "state": "judgement on that photo",
            "area_ratio": "wetted area over what this hole should wet",
        },
        "Pair": {
            "direction": "of directions",
            "area": "of wetted areas",
        },
        "RefusalDocument": {
            "files": "the photos, as given",
        },
        "ComparisonDocument": {
            "matching": "how the holes of the two photos were matched",
            "risk": "of calling any change sure that is none, for all values together",
            "least_area_ratio": "of the driest hole, whichever it is; a blocked one counts 0",
            "most_area_ratio": "of the wettest hole, whichever it is",
            "furthest_deviation_deg": "of the hole furthest from its line, whichever it is; "
            "degrees",
            "before": "the photo taken before, by itself",
            "after": "the photo taken after, by itself",
        },
        "ChangedHole": {
            "hole": "as numbered on the photo before",
            "after_hole": "as numbered on the photo after",
            "state_before": "judgement on the photo before",
            "state_after": "judgement on the photo after",
            "change": "what surely changed",
            "area_ratio": "wetted area over what the hole should wet",
        },
        "Change": {
            "before": "on the photo before",
            "after": "on the photo after",
            "difference": "after minus before",
            "difference_u": "expanded, 95 %",
            "chance": "probability of a difference this large, either way, were nothing changed",
            "sure": "the chance is below the risk shared among all values compared",
        },
        "Limit": {
            "value": "the limit, in its unit; null when it is switched off",
            "unit": "deg, mm, ratio, share or probability",
            "source": "where the value comes from; common practice, no source, where there is none",
            "off": "the limit is not held",
        },
    }
)
"""Form or entry to its own keys."""

LIMITS_NAME: Final = "what the set of limits is called"
"""The only key of a set of limits that is none."""

ALIKE: Final[Mapping[str, str]] = MappingProxyType(
    {
        "UnreadPhoto": "Photo",
        "TogetherError": "Error",
        "RefusedCombinationDocument": "RefusalDocument",
        "RefusedComparisonDocument": "RefusalDocument",
    }
)
"""Entry to another one whose keys it has."""

TITLES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "holes": "spraycheck result document",
        "central": "spraycheck result document of a nozzle with one central spray",
        "combination": "several shots of one nozzle judged together",
        "comparison": "two shots of one nozzle compared",
    }
)
"""Kind of document to what its schema is called."""

PREAMBLE: Final = (
    "What spraycheck prints with --json: one object for one photo, an array of them for several. A "
    "photo that could not be measured has the failure document of spraycheck schema, whatever its "
    "nozzle. Keys not described here may be added at any time; those described never change their "
    "meaning within version 1. null means not known or not measurable; values in mm are null "
    "unless the size of the sheet was given."
)
"""What holds for every document."""


def meaning_of(form: str, key: str) -> str:
    """Say what a key of a form, or of an entry of one, means."""
    entry = form.removesuffix("Entry")
    return KEYS.get(ALIKE.get(entry, entry), {}).get(key) or COMMON[key]
