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
# # How sure is it
#
# A tool that judges must say how sure it is, and that statement must be true. This page checks it
# on cards whose truth is known because they were drawn: do the stated intervals hold the true
# values, how often is a verdict wrong, how small a fault is found, and what does a bad photograph
# do to all that.
#
# Nothing is computed here. The figures come from two studies that take minutes to an hour, and
# whose results lie beside this notebook:
#
# ```text
# python tests/benchmarks/verdict_study.py --json notebooks/data/study.json
# python tests/benchmarks/photo_quality.py --json notebooks/data/quality_curves.json
# ```
#
# The cards come from the project's own simulator. Real paper, oil and phones differ from it in
# ways nobody has listed, so **read these figures as an upper bound of how good the tool is**, and
# make the check with your own cards that the notebook on archives shows.

# %%
import json
from pathlib import Path

from IPython.display import Image, Markdown

from figures import certainty
from figures.tables import markdown_table

study = json.loads(Path("data/study.json").read_text("utf-8"))
curves = json.loads(Path("data/quality_curves.json").read_text("utf-8"))
print(f"{study['cards']} cards, seed {study['seed']}, half of them healthy")

# %% [markdown]
# ## 1. Do the intervals hold the truth?
#
# Every value comes as *value ± u*, and 95 of 100 true values should lie inside. Below is how many
# did. The red line is 95 %, the grey band 92 to 98 % what was asked for. A dot to the **left** of
# the band is an empty promise: the tool claims more than it knows. One far to the right is timid,
# and makes rechecks that need not be.
#
# The black bars are the study's own uncertainty, too short rather than too long: the holes of one
# card share the error of its centre and do not count as independent.

# %%
Image(certainty.draw_coverage(study["coverage"]), alt="Share of true values inside their intervals")

# %%
UNITS = {"direction": "degrees", "share": "of an even share", "centre": "mm"}
Markdown(
    markdown_table(
        ("", "values", "inside", "median error", "median ±", "rms error", "unit"),
        [
            (what, f["all"]["n"], f"{f['all']['inside_frac']:.1%}",
             f"{f['all']['median_error']:.3f}", f"{f['all']['median_u']:.3f}",
             f"{f['all']['rms_error']:.3f}", UNITS[what])
            for what, f in study["coverage"].items()
        ],
    )
)  # fmt: skip

# %% [markdown]
# Half of the errors are below the median. The rms, which gross misses rule, is far larger: on a
# few cards the sheet or the centre was taken for something else, and no interval covers that. Of
# these cards the verdict is what matters.
#
# ## 2. Are the verdicts right?
#
# *Good* and *faulty* cards are those whose truth is clear of every limit by a margin; the rest lie
# near one, where *recheck* is the right answer more often than not. Two things must not happen: a
# faulty nozzle passed, which damages an engine, and a good one failed, which wastes a nozzle. A
# recheck costs a card and a minute.

# %%
Image(certainty.draw_verdicts(study["verdicts"]), alt="Verdicts on good, near and faulty cards")

# %%
wrong = study["wrong"]
print(
    f"of {wrong['of']} cards clear of a limit, {len(wrong['faulty_passed'])} faulty ones passed, "
    f"{len(wrong['good_failed'])} good ones failed, {wrong['recheck_frac']:.0%} are rechecks"
)

# %% [markdown]
# Which faults are found, and on which photographs:

# %%
Image(certainty.draw_detection(study["verdicts"]), alt="Faulty cards that fail, by fault and photo")

# %% [markdown]
# ## 3. The smallest fault that is found
#
# Each bar is all cards with one fault of about that size; on top, how many there were. The verdict
# turns from pass over recheck to fail as the fault grows past the limit. The diamond is the
# severity from which the faulty hole itself is named in 95 of 100 cards, from a detection curve
# fitted to the same cards; its bar is the 95 % interval. Left out of it are lapses: the few per
# cent of cards on which nothing can be judged, however large the fault.
#
# **What it means at the bench:** a fault between the limit and the diamond may come back as a
# recheck. A second card usually settles it, since its errors are largely its own.

# %%
Image(
    certainty.draw_severity(study["severity"], study["threshold"]),
    alt="Verdicts against severity, with the severity found at 95 per cent",
)

# %% [markdown]
# ## 4. A blocked hole against photo quality
#
# A blocked hole is the easiest fault on a clean photograph: its place is dry. Noise and faint oil
# hide the plumes beside it, and with them the certainty that its place is known.

# %%
Image(certainty.draw_blocked(study["blocked_by_quality"]), alt="Blocked holes found against noise")

# %% [markdown]
# ## 5. One thing getting worse at a time
#
# A few healthy cards, photographed again and again while one thing grows worse towards the right.
# Drawn is the error over what was stated for it: **up to 1 (tinted) the statement is true**,
# however large the error; above, the tool knows less than it says (points beyond the top are drawn
# at 2.9). A cross means that some photographs gave no answer or the wrong number of plumes; below
# it how many did.

# %%
Image(certainty.draw_factors(curves), alt="Errors over stated uncertainty against photo quality")

# %% [markdown]
# And what was said of these cards, **all of them healthy**, from the best photograph to the worst.
# Limits on photo quality should turn *pass* into *recheck* before the curves leave the tinted
# part; a **fail** is a good nozzle wronged.

# %%
Markdown(certainty.answers_table(curves))

# %% [markdown]
# A mirrored flash is the one to fear. It paints over a streak until the paper looks dry there, and
# the rest of the picture stays good. On these cards the plumes beside it grow paler towards it,
# which gives it away, and the answer is a recheck. A small bright spot over one plume need not: no
# flash, ever.
#
# What photo quality does to the smallest fault: the turn of one hole that is failed in 95 of 100
# cases, *limit + 3.3 standard uncertainties* (JCGM 106: 1.645 of them as a guard band, 1.645 more
# because readings scatter). Worked out from the errors above, not counted; a real verdict shares
# its risk among all limits and needs a little more. (Points beyond the top are drawn at 13.)

# %%
Image(certainty.draw_smallest(curves), alt="Smallest off-line fault against photo quality")

# %% [markdown]
# ## What to take home
#
# - Pixels hardly matter, and a slant hardly does where the photograph states its focal length, as
#   phones do: a quarter of a megapixel reads as well as one and a half.
# - A mirrored flash, a flooded card, a starved stroke and a phone that moved matter most. They
#   change what can be *seen as wet*, and no statistics bring it back.
# - *Recheck* is an answer. It says that this card cannot tell, and the findings say what will.
# - The verdict is an aid, not a certificate: the maker's manual, local rules and licensed practice
#   decide.
