# ---
# jupyter:
#   jupytext:
#     formats: ipynb,py:percent
#     text_representation:
#       extension: .py
#       format_name: percent
#   kernelspec:
#     display_name: Python 3
#     language: python
#     name: python3
# ---

# %% [markdown]
# # How the photo becomes a verdict
#
# One sample photograph, followed through the six stages: the sheet, the wetness, the centre, the
# plumes, the numbers, the verdict. Every stage is a function from one frozen container to the
# next; nothing looks ahead, and **the first five do not know what to expect**: they are never told
# how many holes the nozzle has, so what is expected cannot leak into what is measured.

# %%
from IPython.display import Image, Markdown

from figures import stages
from figures.gallery import overlay_picture
from figures.tables import markdown_table
from spraycheck import measure_photo
from spraycheck.report.model.holes import explain_verdict
from spraycheck.report.words import AID
from spraycheck.report.words.findings import text_of

a = measure_photo("../sample_images/two-faults-of-five.jpg", holes=5, sheet="letter")
print(a.verdict, "-", "; ".join(explain_verdict(a)))

# %% [markdown]
# The photograph is computed, so its truth is known: hole 2 gives nothing and hole 4 is weak
# (`sample_images/SOURCES.md`).
#
# ## 1. The sheet
#
# Candidates for the sheet's outline come from regions of one colour and from straight edges; the
# evidence along each side picks the winner. Then one physical model is fitted to all edge points:
# where the camera stood, its focal length, and a sheet that may be bent but not stretched. Left
# the photograph with the outline found; right the sheet as seen from straight above. The white net
# is the same on both: where it is square on the right, lengths and angles can be trusted.

# %%
Image(
    stages.draw_sheet(a.photo, a.card),
    alt="The photo with the sheet's outline, and the sheet made flat",
)

# %%
print(f"found by: {a.card.found_by}; a position is good to {a.card.geometry_u_mm:.2f} mm")
print("what to doubt:", ", ".join(a.card.flags) or "nothing")

# %% [markdown]
# ## 2. Wetness
#
# Brightness alone is no measure: a shadow is dark too. So the dry paper's own light is modelled
# all over the sheet, shadows and their edges included, and what is left is how much the oil
# darkens the paper. Optical depth then becomes wetness, 0 dry to 1 full, by the law of Yule and
# Nielsen, in which half-wet fibres count as half.
#
# The red line is where paper counts as wetted. The cut on the right shows how little depends on
# that choice: rims are steep, so another threshold moves them by fractions of a millimetre. A thin
# pencil line would show as a spike; thin ink is filled in from beside before anything else.

# %%
y_mm = float(a.catalogue.centroid_mm[0, 1])
Image(stages.draw_wetness(a.wetness, y_mm), alt="Map of wetness, and wetness along a level line")

# %% [markdown]
# ## 3. The centre
#
# All directions are seen from the foot of the perpendicular from the nozzle's tip, and nobody
# marks it. But fuel flies straight: the long axes of all streaks meet there, however the nozzle is
# tilted. Where the streaks lie on a ring, its middle helps as well, though a tilt of the nozzle
# moves the ring; how much the ring is believed depends on how well the two agree. An error of one
# millimetre at a ring of 50 mm turns a direction by up to 1.15 degrees, so the centre's
# uncertainty (red circle) goes into every direction.

# %%
Image(
    stages.draw_centre(a.wetness, a.centre, a.catalogue),
    alt="Axes of the plumes and where they meet",
)

# %%
print(f"found by: {a.centre.found_by}; within {a.centre.u95_mm:.2f} mm with 95 %")

# %% [markdown]
# ## 4. The plumes
#
# Wet patches are cut along rays from the centre where two run together. What does not lie, look or
# point like a plume is a mark: a drip, a drop, a splash, a fingerprint. Marks are named but never
# counted. Plumes are numbered clockwise here; which *hole* each one belongs to is not known yet.

# %%
Image(
    stages.draw_plumes(a.wetness, a.segmentation, a.centre, a.catalogue),
    alt="Every plume in a tone of its own, numbered, and marks that are no plume",
)

# %% [markdown]
# ## 5. The numbers
#
# Each plume gets a row: direction, wetted area, share of the whole. Each value carries an
# uncertainty put together after the GUM, the international guide: the centre's error, the rim, the
# paper's grain, the geometry, added as squares. ± is the expanded uncertainty: 95 of 100 true
# values should lie inside.

# %%
rows = a.catalogue
numbers = zip(
    range(1, len(rows) + 1),
    rows.direction_deg, rows.direction_u_deg, rows.area_mm2, rows.area_u_mm2,
    rows.area_frac, rows.area_u_frac,
    strict=True,
)  # fmt: skip
Markdown(
    markdown_table(
        ("plume", "direction", "area (mm²)", "share"),
        [
            (k, f"{d:.1f}° ± {du:.1f}", f"{m:.0f} ± {mu:.0f}", f"{s:.1%} ± {100 * su:.1f}")
            for k, d, du, m, mu, s, su in numbers
        ],
    )
)

# %% [markdown]
# ## 6. The verdict
#
# Only now is the nozzle looked at: five holes, evenly spread. One common turn and one assignment
# lay them over the plumes, and every hole is held against what the *others* predict. A hole
# without a plume is blocked, if the others leave no doubt where its plume should be.

# %%
Image(stages.draw_holes(a), alt="Deviation and wetted area of each hole with limits")

# %% [markdown]
# A limit is not a cliff. What decides is the probability that the true value keeps it (JCGM 106).
# Each bell below holds the true values a hole may have; the part beyond a limit is hatched. A hole
# fails when nearly all of its bell lies beyond, passes when nearly none does, and is *unsure* in
# between: then the verdict is **recheck**, never a guess. The risk of being wrong is shared among
# all limits, so that it holds for the whole nozzle.

# %%
Image(stages.draw_bells(a), alt="Where the true area of each hole may lie, against the limits")

# %%
Markdown(
    "\n".join(
        f"- **{finding.code}** (hole {finding.hole or '-'}): {text_of(finding)}"
        for finding in a.findings
    )
)

# %% [markdown]
# ## What the technician sees
#
# Words, signs and line patterns tell the states apart; colour only helps.

# %%
Image(overlay_picture(a), alt="The photo with verdict, plumes, states, dial and list of holes")

# %%
Markdown(f"> {AID}")

# %% [markdown]
# ## The same by hand
#
# `measure_photo` does nothing else than this, and each stage can be swapped for one of your own
# (`Pipeline(segment=...)`); every result records which function and which parameters were used.
#
# ```python
# from spraycheck import *
# from spraycheck.spray.measurement import Measurement, Plumes
#
# photo = read_photo("card.jpg")
# card = rectify_card(photo, CardSpec())
# wet = map_wetness(card)
# centre = locate_centre(wet)
# labels = segment_plumes(wet, centre)
# rows = measure_plumes(wet, labels, centre)
# found = Measurement(photo=photo, card=card, wetness=wet,
#                     spray=Plumes(centre=centre, segmentation=labels, catalogue=rows))
# answer = decide_case(check_spray(found, Layout.evenly_spread(5), Limits()))
# ```
