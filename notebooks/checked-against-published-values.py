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
from types import SimpleNamespace

import numpy as np
from IPython.display import Image, Markdown

from figures import closed_forms
from figures.tables import Comparison, tally
from spraycheck import measure_photo, optics, units
from spraycheck.batch.study_table import read_study
from spraycheck.judge.standoff import Standoff, spray_angles
from spraycheck.report.gauge import study_value
from spraycheck.report.gauge_plots import study_plot
from spraycheck.simulate import Camera, SprayShot, SyntheticNozzle, draw_card, photograph
from spraycheck.stats import circular, repeatability
from spraycheck.stats import uncertainty as gum
from spraycheck.stats.conformity import Tolerance, conformity_probability, guard_factor
from spraycheck.stats.conformity import risk_per_limit as shared
from spraycheck.stats.detection import Trials, fit_detection
from spraycheck.stats.robust import common_origin, fit_circle, robust_lstsq

DATA = Path("../tests/truth/data")

# %% [markdown]
# ## 1. Uncertainty: the GUM's own examples
#
# The GUM is the international guide to uncertainty. Its annex H works whole examples through. H.1
# calibrates a gauge block; H.2 has inputs that are correlated, which is the case of a plume's
# direction and the centre it is seen from; H.3 fits a line and asks for its value far outside the
# data.

# %%
comparison = math.hypot(13 / math.sqrt(5), 10 / guard_factor(0.025, 5), 20 / 3)
parts, dofs = [25.0, comparison, 2.9, 16.6], [18, 25.6, 50, 2]
dof = gum.effective_dof(parts, dofs)
h1 = Comparison.of(
    "JCGM 100:2008 (GUM), H.1, end gauge",
    ("uncertainty of the comparison (nm)", "9.7", comparison),
    ("combined uncertainty (nm)", "32", math.hypot(*parts)),
    ("effective degrees of freedom", "16.7", dof),
    ("factor for 99 %", "2.92", guard_factor(0.005, math.floor(dof))),
)
h1

# %%
V = [5.007, 4.994, 5.005, 4.990, 4.999]
A = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
PHI = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
samples = np.column_stack([V, A, PHI])
means, covariance = samples.mean(axis=0), np.cov(samples.T) / len(samples)


def impedance(x):
    return x[0] / x[1] * np.array([math.cos(x[2]), math.sin(x[2]), 1.0])


jacobian = gum.numerical_jacobian(impedance, means, np.sqrt(np.diag(covariance)))
out = gum.propagate(jacobian, covariance)
u, rho = np.sqrt(np.diag(out)), out / np.sqrt(np.outer(np.diag(out), np.diag(out)))
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
x = np.column_stack([np.ones(11), np.array(T) - 20.0])
line = robust_lstsq(lambda at: (B - x @ at, -x), np.zeros(2), robust=False)
spread, at_30 = line.covariance * line.squares / 9, np.array([1.0, 10.0])
h3 = Comparison.of(
    "JCGM 100:2008 (GUM), H.3, thermometer, and table G.2",
    ("correction at 20 °C", "-0.1712", line.at[0]),
    ("slope", "0.00218", line.at[1]),
    ("correction at 30 °C", "-0.1494", at_30 @ line.at),
    ("its uncertainty", "0.0041", math.sqrt(at_30 @ spread @ at_30)),
    ("factor for 95 %, 4 degrees of freedom", "2.78", guard_factor(0.025, 4)),
    ("factor for 95 %, 20 degrees of freedom", "2.09", guard_factor(0.025, 20)),
    ("factor for 95 %, very many", "1.960", guard_factor(0.025)),
)
h3

# %% [markdown]
# H.5 asks whether days differ: ten days of five readings each. The same split of scatter tells how
# much of the spread between several photos is the spray's, and how much the measurement's.

# %%
MEANS = [172, 116, 13, 144, 106, 31, 60, 125, 163, 41]
STDS = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86]
by_day = gum.between_within(MEANS, STDS, 5)
h5 = Comparison.of(
    "JCGM 100:2008 (GUM), H.5, ten days of five readings (µV above 10 V)",
    ("mean", "97", by_day.mean),
    ("one reading's deviation, from the days' means", "128", by_day.s_between),
    ("from the repeats within days", "85", by_day.s_within),
)
h5

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
conform = conformity_probability
speed, ohms = Tolerance(upper=100.0), Tolerance(lower=1499.8, upper=1500.2)
j106 = Comparison.of(
    "JCGM 106:2012, clauses 7.3.3, 7.4, 8.3.2, 8.3.3 and 9.5.3",
    ("breakdown voltage keeps its limit", "0.92", conform(-5.47, 0.05, Tolerance(upper=-5.40))),
    ("bursting strength keeps its limit", "0.99", conform(509.7, 8.6, Tolerance(lower=490.0))),
    ("viscosity keeps both", "0.66", conform(13.6, 1.8, oil)),
    ("bad at the guard band of 2u", "0.023", 1 - conform(2.0, 1.0, Tolerance(upper=4.0))),
    ("speed that proves 100 km/h broken", "107", 100 / (1 - 0.02 * guard_factor(0.001))),
    ("guard factor from ten repeats", "1.83", guard_factor(0.05, dof=9)),
    ("good resistors before any check", "0.90", conform(1500, 0.12, ohms)),
)
j106

# %% [markdown]
# Behind a proof stands a factor: how many standard uncertainties a reading must stay away from its
# limit. It grows with the certainty asked for, and with the number of limits that share one risk,
# less so when the values hang together, as the directions of a nozzle do.

# %%
guards = Comparison.of(
    "JCGM 106:2012, table 1; Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096 (from memory)",
    ("factor for 80 %", "0.84", guard_factor(0.20)),
    ("for 90 %", "1.28", guard_factor(0.10)),
    ("for 95 %", "1.64", guard_factor(0.05)),
    ("for 99 %", "2.33", guard_factor(0.01)),
    ("for 99.9 %", "3.09", guard_factor(0.001)),
    ("95 % for 3 limits together, correlation 0.5", "2.06", guard_factor(shared(3, 0.05, 0.5))),
    ("for 5", "2.23", guard_factor(shared(5, 0.05, 0.5))),
    ("for 8", "2.38", guard_factor(shared(8, 0.05, 0.5))),
)
guards

# %%
for reading in (105.0, 107.0):
    proven = conform(reading, 0.02 * reading, speed) <= 0.001
    print(f"{reading:.0f} km/h:", "fail, shown with 99.9 %" if proven else "not shown")

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
# Several photos of a card on several occasions are split the same way into scatter within an
# occasion and between them. NIST shows the arithmetic on 25 days of six readings.

# %%
rows = list(csv.DictReader((DATA / "nist_check_standard.csv").read_text("utf-8").splitlines()))
averages, stds = ([float(row[name]) for row in rows] for name in ("average", "std"))
days = gum.between_within(averages, stds, 6)
judges = repeatability.cohen_kappa(
    ["pass"] * 25 + ["fail"] * 25, ["pass"] * 20 + ["fail"] * 5 + ["pass"] * 10 + ["fail"] * 15
)
nist = Comparison.of(
    "NIST/SEMATECH e-Handbook 2.6.2, check standard; Cohen's kappa of a table (from memory)",
    ("within a day", "0.06139", days.s_within),
    ("from day to day", "0.02680", days.s_between / math.sqrt(6)),
    ("degrees of freedom within", "125", days.dof_within),
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
STARS = [0, 1, 3, 3, 8, 13, 16, 18, 30, 31, 43, 45, 147, 298, 329, 332, 335, 340, 350, 354, 356,
         357]  # fmt: skip
COUNTS = [0, 6, 9, 13, 15, 22, 17, 12, 8, 3, 0, 0]
SAMPLES = [160, 169, 117, 140, 186, 134, 171]
LENGTHS = [0.8954, 0.7747, 0.4696, 0.8794, 0.3922, 0.6952, 0.3338]
circles = Comparison.of(
    "Mardia, Jupp 2000 (recalled, recomputed); Zar, 5th ed.; Fisher 1993; Jammalamadaka 2001",
    ("roulette, mean direction", "51", circular.mean_direction(ROULETTE)),
    ("trees, mean direction", "99", circular.mean_direction(TREES)),
    ("trees, median", "103", circular.median_direction(TREES)),
    ("sea stars, mean direction", "3.10", circular.mean_direction(STARS)),
    ("six angles of a textbook", "48.63", circular.mean_direction([51, 67, 40, 109, 31, 358])),
    ("counts in groups of 30°", "162", circular.mean_direction(range(15, 360, 30), COUNTS)),
    ("seven samples' means, weighed by length", "152", circular.mean_direction(SAMPLES, LENGTHS)),
)
print(f"sea stars by an ordinary mean: {np.mean(STARS):.0f} degrees, plainly wrong")
circles

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
def stain(near_mm, far_mm):
    """One plume towards 12 o'clock whose stain has these ends, as `measure` hands it on."""
    return SimpleNamespace(
        direction_deg=np.zeros(1), near_mm=np.array([near_mm]), reach_mm=np.array([far_mm])
    )


low = spray_angles(stain(21.422, 32.168), Standoff(height_mm=15))
high = spray_angles(stain(25.476, 53.618), Standoff(height_mm=50))
cones = Comparison.of(
    "plane geometry, tabulated by ray casting: the ends of the stain give the cone back",
    ("ends 21.422 and 32.168 mm, 15 mm below: axis (degrees)", "60.0", low.axis_angle_deg[0]),
    ("full cone (degrees)", "10.0", low.cone_deg[0]),
    ("ends 25.476 and 53.618 mm, 50 mm below: axis (degrees)", "37.0", high.axis_angle_deg[0]),
    ("full cone (degrees)", "20.0", high.cone_deg[0]),
)
cones

# %% [markdown]
# The centre is found from plume axes and from the ring they lie on. Both fits, on a classic set of
# points and on the sides of a triangle, whose nearest point is known since 1873.

# %%
POINTS = np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], float)
circle = fit_circle(POINTS, 1.0, robust=False)
corners = np.array([(0.0, 0.0), (4.0, 0.0), (0.0, 3.0)])
sides = np.roll(corners, -1, axis=0) - corners
towards = np.arctan2(sides[:, 1], sides[:, 0])
origin = common_origin(corners, towards, 1.0, corners[1], shortest_lever=1e4).at
fits = Comparison.of(
    "Gander, Golub, Strebel, BIT 34 (1994) 558 (recalled, recomputed); Lemoine's point",
    ("circle through six points: x", "4.7398", circle.x),
    ("y", "2.9835", circle.y),
    ("radius", "4.7142", circle.radius),
    ("point nearest to the sides of a 3-4-5 triangle: x", "0.72", origin[0]),
    ("y", "0.96", origin[1]),
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
# ## 7. Light: what a pixel says
#
# Photographs hold encoded values, not light. The curve between them is a standard.

# %%
light = Comparison.of(
    "sRGB: IEC 61966-2-1 (worked out by hand)",
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
    ("120 bar in kgf/cm²", "122.37", to(120, "bar", "kgf/cm2")),
    ("200 bar in psi", "2900.8", to(200, "bar", "psi")),
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
slope = math.log(10) / curve.log_sd
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
Markdown(tally([h1, h2, h3, h5, j106, guards, handbook, nist, circles, cones, fits, washburn, light,
                pressure, probit, research]))  # fmt: skip
