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
# # Checked against published values
#
# A tool that measures must get right what others have published. Each table below sets a printed
# number beside what **the package's own function** returns now, as this page is run. They agree
# when they are the same to the last printed digit; where more is allowed the table says why. The
# same checks, and more of them, are tests (`tests/truth/`) and run with every change.
#
# No one has published measured cards of a hand-lever tester with known truth, to our knowledge. So
# this page proves the **arithmetic**: uncertainty, decisions, repeatability, circles, cones,
# light, paper. How well photographs are read is another page: *How sure is it*.

# %%
import csv
import math
from pathlib import Path

import numpy as np
from IPython.display import Image, Markdown

from figures import closed_forms
from figures.tables import Comparison, tally
from spraycheck import measure_photo, optics, units
from spraycheck.batch.study_table import read_study
from spraycheck.report.gauge import study_value
from spraycheck.report.gauge_plots import study_plot
from spraycheck.simulate import Camera, SprayShot, SyntheticNozzle, draw_card, photograph
from spraycheck.stats import circular, decision, geometry, repeatability
from spraycheck.stats import uncertainty as gum
from spraycheck.stats.decision import Tolerance
from spraycheck.stats.psychometrics import Trials, fit_detection

DATA = Path("../tests/truth/data")

# %% [markdown]
# ## 1. Uncertainty: the GUM's own examples
#
# The GUM is the international guide to uncertainty. Its annex H works whole examples through. H.1
# calibrates a gauge block; H.2 has inputs that are correlated, which is the case of a plume's
# direction and the centre it is seen from; H.3 fits a line and asks for its value far outside the
# data.

# %%
comparison = gum.combine(13 / math.sqrt(5), 10 / gum.coverage_factor(0.95, 5), 20 / 3)
parts, dofs = [25.0, comparison, 2.9, 16.6], [18, 25.6, 50, 2]
dof = gum.effective_dof(parts, dofs)
h1 = Comparison.of(
    "JCGM 100:2008 (GUM), H.1, end gauge",
    ("uncertainty of the comparison (nm)", "9.7", comparison),
    ("combined uncertainty (nm)", "32", gum.combine(*parts)),
    ("effective degrees of freedom", "16.7", dof),
    ("factor for 99 %", "2.92", gum.coverage_factor(0.99, math.floor(dof))),
)
h1

# %%
V = [5.007, 4.994, 5.005, 4.990, 4.999]
A = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
PHI = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
samples = np.column_stack([V, A, PHI])
means, covariance = samples.mean(axis=0), gum.covariance_of_means(samples)


def impedance(x):
    return x[0] / x[1] * np.array([math.cos(x[2]), math.sin(x[2]), 1.0])


jacobian = gum.numerical_jacobian(impedance, means, np.sqrt(np.diag(covariance)))
out = gum.propagate(jacobian, covariance)
u, rho = np.sqrt(np.diag(out)), gum.correlation(out)
h2 = Comparison.of(
    "JCGM 100:2008 (GUM), H.2, resistance, reactance and impedance from correlated readings",
    ("resistance (ohm)", "127.732", impedance(means)[0]),
    ("impedance (ohm)", "254.260", impedance(means)[2]),
    ("u of the resistance (ohm)", "0.071", u[0]),
    ("u of the reactance (ohm)", "0.295", u[1], 6e-4, "the guide rounded on the way"),
    ("u of the impedance (ohm)", "0.236", u[2]),
    ("correlation of R and X", "-0.588", rho[0, 1]),
    ("correlation of R and Z", "-0.485", rho[0, 2], 1.1e-3, "printed from rounded inputs"),
)
h2

# %%
T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
line = gum.fit_line(T, B, 20.0)
h3 = Comparison.of(
    "JCGM 100:2008 (GUM), H.3, thermometer, and table G.2",
    ("correction at 20 °C", "-0.1712", line.intercept),
    ("slope", "0.00218", line.slope),
    ("correction at 30 °C", "-0.1494", line.at(30.0).value),
    ("its uncertainty", "0.0041", line.at(30.0).u),
    ("factor for 95 %, 4 degrees of freedom", "2.78", gum.coverage_factor(0.95, 4)),
    ("factor for 95 %, 20 degrees of freedom", "2.09", gum.coverage_factor(0.95, 20)),
    ("factor for 95 %, very many", "1.960", gum.coverage_factor(0.95)),
)
h3

# %% [markdown]
# ## 2. Decisions: pass, fail or recheck
#
# JCGM 106 tells how to decide with an uncertain reading. The curve shows the idea for one of its
# examples, oil whose viscosity must lie between 12.5 and 16.3: well inside is a pass, well outside
# a fail, and near a limit neither can be shown. (Drawn for a quarter of the example's uncertainty;
# with all of it no reading whatever could pass.) The very function behind the curve judges holes.

# %%
oil = Tolerance(lower=12.5, upper=16.3)
Image(
    closed_forms.draw_decision(oil, 0.45),
    alt="Probability of conformity, with pass, recheck and fail",
)

# %%
conform = decision.conformity_probability
speed = Tolerance(upper=100.0)
bearing, prior = Tolerance(upper=2.0), decision.GammaPrior(shape=4.0, rate=4.0)
risks = decision.global_risks(bearing, decision.acceptance_limits(bearing, 1.3 * 0.25), prior, 0.25)
j106 = Comparison.of(
    "JCGM 106:2012, clauses 7.3.3, 7.4, 8.3.2, 8.3.3 and 9.5.4",
    ("breakdown voltage keeps its limit", "0.92", conform(-5.47, 0.05, Tolerance(upper=-5.40))),
    ("bursting strength keeps its limit", "0.99", conform(509.7, 8.6, Tolerance(lower=490.0))),
    ("viscosity keeps both", "0.66", conform(13.6, 1.8, oil)),
    ("bad at the guard band of 2u", "0.023", 1 - conform(2.0, 1.0, Tolerance(upper=4.0))),
    ("speed that proves 100 km/h broken", "107", 100 / (1 - 0.02 * decision.guard_factor(0.001))),
    ("guard factor from ten repeats", "1.83", decision.guard_factor(0.05, dof=9)),
    ("bad bearings accepted", "0.001", risks.consumer),
    ("good bearings rejected", "0.075", risks.producer),
)
j106

# %%
print("107 km/h:", decision.decide(107.0, 2.14, speed, risk=0.001).outcome)
print("105 km/h:", decision.decide(105.0, 2.10, speed, risk=0.001).outcome)

# %% [markdown]
# ## 3. Repeatability: ten parts, three people, three times
#
# The most reprinted gauge study there is, and the picture that `spraycheck repeatability --plots`
# draws of it. It finds the reading that the handbook points out too: part 4 by appraiser B, whose
# repeats lie further apart than chance explains.

# %%
aiag = read_study(str(DATA / "gauge_aiag.csv")).readings[0]
study = study_value("value", aiag.values, parts=aiag.parts, people=aiag.people)
r, a = study.by_range, study.by_anova
handbook = Comparison.of(
    "AIAG, Measurement Systems Analysis, 10 x 3 x 3",
    ("repeatability, by range", "0.20188", r.repeatability, 4e-5, "printed from 4 digits"),
    ("reproducibility, by range", "0.22963", r.reproducibility, 9e-5, "as above"),
    ("gauge of the total (%), by range", "26.68", r.gauge_percent),
    ("classes told apart, by range", "5", r.categories),
    ("repeatability, by analysis of variance", "0.199933", a.repeatability),
    ("reproducibility, by analysis of variance", "0.226838", a.reproducibility),
    ("gauge of the total (%), by analysis of variance", "27.9", a.gauge_percent),
)
print("beyond chance:", study.beyond)
handbook

# %%
Image(
    study_plot(study, aiag.values, parts=aiag.parts, people=aiag.people),
    alt="The AIAG study: readings, ranges and where the scatter comes from",
)

# %% [markdown]
# A check standard is a card kept to be photographed again and again. NIST shows the arithmetic on
# 25 days of six readings: scatter within a day, and from day to day.

# %%
rows = list(csv.DictReader((DATA / "nist_check_standard.csv").read_text("utf-8").splitlines()))
days = {name: np.array([[[float(row[name]) for row in rows]]]) for name in ("average", "std")}
levels = repeatability.check_standard(days["average"], days["std"], 6)
judges = repeatability.cohen_kappa(
    ["pass"] * 25 + ["fail"] * 25, ["pass"] * 20 + ["fail"] * 5 + ["pass"] * 10 + ["fail"] * 15
)
nist = Comparison.of(
    "NIST/SEMATECH e-Handbook 2.6.2, check standard; Cohen's kappa of a table (from memory)",
    ("within a day", "0.06139", levels.short.std),
    ("from day to day", "0.02680", levels.day_to_day.std),
    ("degrees of freedom within", "125", levels.short.dof),
    ("kappa of two judges, 20, 5, 10, 15", "0.40", judges.kappa),
)
nist

# %% [markdown]
# ## 4. Directions: a circle is not a line
#
# The mean of 359 and 1 degree is 0, not 180. Everything about directions goes through one module,
# checked on the data sets of the textbooks.

# %%
ROULETTE = [43, 45, 52, 61, 75, 88, 88, 279, 357]
TREES = [45, 55, 81, 96, 110, 117, 132, 154]
PIGEONS = [20, 135, 145, 165, 170, 200, 300, 325, 335, 350, 350, 350, 355]
STARS = [0, 1, 3, 3, 8, 13, 16, 18, 30, 31, 43, 45, 147, 298, 329, 332, 335, 340, 350, 354, 356,
         357]  # fmt: skip
trees, stars = circular.resultant(TREES), circular.resultant(STARS)
circles = Comparison.of(
    "Mardia, Jupp 2000 (recalled, recomputed); Zar, 5th ed.; Fisher 1993; Batschelet 1981",
    ("roulette, mean direction", "51", circular.resultant(ROULETTE).direction_deg),
    ("roulette, mean length", "0.711", circular.resultant(ROULETTE).length),
    ("trees, mean length", "0.82522", trees.length),
    ("trees, mean direction", "99", trees.direction_deg),
    ("trees, median", "103", circular.median_direction(TREES)),
    ("trees, angular deviation", "34", circular.angular_deviation(TREES)),
    ("sea stars, mean direction", "3.10", stars.direction_deg),
    ("13 pigeons, Rao's spacing U", "161.92308", circular.rao_spacing(PIGEONS)),
)
print(f"sea stars by an ordinary mean: {np.mean(STARS):.0f} degrees, plainly wrong")
circles

# %% [markdown]
# One hole of *n* missing has closed forms: the mean of the others has the length 1 / (n - 1) and
# points away from the gap, which is 720 / n wide. Here for seven holes, the third blocked.

# %%
seven = 17.3 + np.arange(7) * 360 / 7
left = np.delete(seven, 2)
gap = circular.resultant(left)
missing = Comparison.of(
    "algebra of equal directions, worked out by hand for n = 7",
    ("length of the mean", "0.16667", gap.length),
    ("largest gap (degrees)", "102.857", circular.spacings(left).max()),
    ("Rao's U", "42.8571", circular.rao_spacing(left)),
    (
        "mean away from the missing hole",
        "180",
        abs(circular.wrap_180(gap.direction_deg - seven[2])),
    ),
)
missing

# %% [markdown]
# ## 5. A cone of spray on a flat card
#
# Fuel flies straight, so a plume is a cone and leaves an ellipse. Note two things that mislead the
# eye: the ellipse's middle is **not** where the plume's axis meets the card, and a longer streak
# need not hold more fuel: it only comes at a flatter angle.

# %%
Image(
    closed_forms.draw_cone(60, 8, 15),
    alt="A cone from the side, and the ellipse it leaves on the card",
)

# %%
f = geometry.cone_footprint(60, 5, 15)
g = geometry.cone_footprint(37, 10, 50)
cones = Comparison.of(
    "plane geometry, tabulated by ray casting; half cone = asin(sin a sin(180/n))",
    ("60°, half cone 5°, 15 mm: near end (mm)", "21.422", f.near),
    ("far end (mm)", "32.168", f.far),
    ("half axis along (mm)", "5.373", f.semi_major),
    ("half axis across (mm)", "2.655", f.semi_minor),
    ("area (mm²)", "44.819", f.area),
    ("seen under ± (degrees)", "5.776", f.azimuth_half_width_deg),
    ("37°, half cone 10°, 50 mm: area (mm²)", "492.363", g.area),
    ("8 holes at 37° touch from half cone", "13.31", geometry.largest_separate_half_cone(37, 8)),
)
cones

# %% [markdown]
# Other geometry: circles fitted to points of a classic paper, and what a centre that is off, or a
# camera askew, does to a direction.

# %%
POINTS = [(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)]
circle, algebraic = geometry.fit_circle(POINTS), geometry.fit_circle_algebraic(POINTS)
directions = np.arange(0.0, 360.0, 0.05)
ring = 50.0 * geometry.unit_vectors(directions)
shifted = ring + [1.0, 0.0]
off_centre = geometry.direction_to(shifted, (1.0, 0.0)) - geometry.direction_to(shifted)
askew = geometry.direction_to(ring * [1.0, math.cos(math.radians(20))]) - directions
fits = Comparison.of(
    "Gander, Golub, Strebel, BIT 34 (1994) 558 (recalled, recomputed); plane geometry",
    ("circle through six points: x", "4.7398", circle.x),
    ("y", "2.9835", circle.y),
    ("radius", "4.7142", circle.radius),
    ("radius by the algebraic fit", "3.0370", algebraic.radius),
    (
        "centre 1 mm off, ring of 50 mm: turned by",
        "1.15",
        np.abs(circular.wrap_180(off_centre)).max(),
    ),
    ("camera 20° askew: turned by", "1.782", np.abs(circular.wrap_180(askew)).max()),
)
fits

# %% [markdown]
# ## 6. Paper: a fed stain grows with the root of time
#
# Washburn's law, 1921. The simulator that draws cards for training and tests must obey it, or it
# would teach a wrong lesson about late photographs.

# %%
SECONDS = [10, 20, 40, 80]
fronts = closed_forms.fed_front(SECONDS)
Image(closed_forms.draw_growth(SECONDS, fronts), alt="Front against time on logarithmic axes")

# %%
washburn = Comparison.of(
    "Washburn, Phys. Rev. 17 (1921) 273 (from memory): length = constant x square root of time",
    (
        "exponent",
        "0.5",
        closed_forms.growth_exponent(SECONDS, fronts),
        0.05,
        "a numerical front on cells",
    ),
    ("front after 80 s over the law's", "1", fronts[-1] / math.sqrt(80), 0.10, "as above"),
)
washburn

# %% [markdown]
# ## 7. Light: how dark is wet paper
#
# Photographs hold encoded values, not light; oil makes paper scatter less. Both have standard
# formulas.

# %%
light = Comparison.of(
    "Kubelka and Munk 1931, K/S = (1 - R)²/(2R); sRGB: IEC 61966-2-1 (worked out by hand)",
    ("K/S at 90 % reflectance", "0.00556", optics.kubelka_munk_ratio(0.9)),
    ("K/S at 70 %", "0.06429", optics.kubelka_munk_ratio(0.7)),
    ("K/S at 40 %", "0.45000", optics.kubelka_munk_ratio(0.4)),
    ("light of code 128 of 255", "0.2158605", optics.srgb_decode(128 / 255)),
    ("code of 18 % grey", "0.4613561", optics.srgb_encode(0.18)),
)
light

# %% [markdown]
# ## 8. Pressure units
#
# A slip here can hurt: a manual was found to print 125 kgf/cm² as 1978 psi. It is 1778.

# %%
to = units.convert_pressure
pressure = Comparison.of(
    "NIST SP 811 (2008); set-points as printed in engine manuals",
    ("1 bar in psi", "14.503773773", to(1, "bar", "psi")),
    ("1 kgf/cm² in psi", "14.223343307", to(1, "kgf/cm2", "psi")),
    ("245 bar in psi", "3553.4", to(245, "bar", "psi")),
    ("245 bar in kgf/cm²", "249.83", to(245, "bar", "kgf/cm2")),
    ("125 kgf/cm² in psi (not 1978)", "1778", to(125, "kgf/cm2", "psi")),
)
print("1978 psi passes for 125 kgf/cm²:", units.same_pressure("125 kgf/cm²", "1978 psi"))
pressure

# %% [markdown]
# ## 9. How small a fault is seen: the detection curve
#
# The curve behind a quiz report and behind the tool's own thresholds, on the oldest data of its
# kind: beetles and the dose of a gas.

# %%
LOG_DOSE = [1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839]
beetles = Trials(
    level=10 ** np.array(LOG_DOSE),
    noticed=[6, 13, 18, 28, 52, 53, 61, 60],
    shown=[59, 60, 62, 56, 63, 59, 62, 60],
)
curve = fit_detection(beetles, max_guess=0, max_lapse=0)
slope = math.log(10) / curve.width
probit = Comparison.of(
    "Bliss, Ann. Appl. Biol. 22 (1935) 134; Dobson, 3rd ed. 2008 (from memory)",
    ("slope", "19.73", slope),
    (
        "intercept",
        "-34.94",
        -slope * math.log10(curve.threshold),
        0.01,
        "two printed digits of both",
    ),
    ("deviance", "10.12", curve.deviance),
)
probit

# %% [markdown]
# ## 10. A published nozzle, drawn, photographed and measured back
#
# An open research nozzle has eight equal holes every 45 degrees, drilled at 37 degrees from the
# axis. It is drawn by the simulator, photographed at a slant and measured by the pipeline, which
# share no code. Asked for: eight plumes, 45 degrees within one.
#
# Not every card of this nozzle does so well. So steep a plume leaves a nearly round stain, and
# with twice the fuel the stains point nowhere: then the centre is uncertain by several
# millimetres, and the tool says so.

# %%
nozzle = SyntheticNozzle.evenly(8, axis_angle_deg=37, first_deg=8)
card = draw_card(
    nozzle, SprayShot(volume_mm3=150, height_mm=75, half_cone_deg=5), seed=3, foot_mm=(5, -11)
)
photo = photograph(card, Camera(obliquity_deg=12, width_px=900, height_px=1200), seed=4)
back = measure_photo(photo.rgb, holes=8, sheet="a4")
spacing = np.array([hole.spacing_deg for hole in back.holes])
research = Comparison.of(
    "eight-hole nozzle: ASME J. Eng. Gas Turb. Power 145(6) 061009; 37° from memory",
    ("plumes found", "8", len(back.catalogue)),
    ("smallest spacing (degrees)", "45", spacing.min(), 1.0, "what is asked of a method"),
    ("largest spacing (degrees)", "45", spacing.max(), 1.0, "as above"),
)
research

# %% [markdown]
# ## All together

# %%
Markdown(tally([h1, h2, h3, j106, handbook, nist, circles, missing, cones, fits, washburn, light,
                pressure, probit, research]))  # fmt: skip
