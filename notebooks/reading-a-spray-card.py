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
# # Reading a spray card
#
# For trainers. Good cards against bad ones, one fault at a time, from small to plain to see.
#
# Every card here is computed: spray, paper and camera are drawn from physics, no injector sprayed
# them. So the truth is known, and each section shows three things: the cards as photographed, what
# is really on them, and what the tool read off the photograph without being told. Where the two
# differ, it says so.
#
# **How to use it with a class.** Show only the row of pictures and let everybody say what they
# see: how many streaks, which one is odd, and what is odd about it. Only then scroll on. The whole
# page can be read without running anything.

# %%
from dataclasses import replace

from IPython.display import Image, Markdown

from figures.gallery import card_row, page_text, photo_and_seen, seen_row
from spraycheck.report.words import AID, CAUTION
from spraycheck.train.atlas.building import build_page
from spraycheck.train.lessons.card_request import CardRequest
from spraycheck.train.lessons.lesson import lessons

Markdown(f"> **{CAUTION}**\n>\n> {AID}")

# %% [markdown]
# The lessons are those of `spraycheck atlas`; a smaller photograph is enough on a screen. Every
# card can be drawn again with the command that `lesson.request.command()` gives.

# %%
LESSONS = {lesson.title: lesson for lesson in lessons()}


def pages(*titles):
    chosen = [LESSONS[title] for title in titles]
    return [
        build_page(replace(one, request=replace(one.request, megapixels=0.7))) for one in chosen
    ]


good = pages("Six good holes")
print(LESSONS["Six good holes"].request.command("good.jpg"))

# %% [markdown]
# ## 1. What good looks like
#
# Left the photograph, right the same with what the tool found. **Count first**: as many streaks as
# holes in the tip. **Then gaps**: the dry wedges between streaks should all be alike. **Then
# sizes**: compare each streak with more than one neighbour.
#
# Look at what is *not* a fault: ragged edges, fine mist beyond the tips, streaks that differ by a
# few per cent. A nozzle without any of that exists on paper only.

# %%
Image(
    photo_and_seen(good[0]), alt="A good card with six equal streaks, and the tool's drawing on it"
)

# %%
Markdown(page_text(good[0]))

# %% [markdown]
# ## 2. Blocked: count the streaks
#
# A blocked hole leaves its place dry. The neighbours stay where they are: the gap is exactly twice
# as wide. If the streaks had moved to share the circle, the nozzle would have one hole fewer.

# %%
blocked = pages("One hole blocked", "Two neighbours blocked")
Image(card_row(blocked), alt="Two cards: one streak is missing, and two beside each other")

# %%
Markdown(page_text(blocked[0]))

# %% [markdown]
# ## 3. Weak: from hardly seen to plain
#
# The same nozzle three times; only the fuel of one hole changes: 84 %, 55 % and 25 % of what a
# good hole gives. Most people pass the first and so does the tool, which measures it and finds it
# inside the limit. The wetted area follows the fuel here, since all holes wet the same paper; it
# compares hole with hole on one card and is no measure of injected quantity.

# %%
weak = pages("Slightly weak", "Weak", "Very weak")
Image(card_row(weak), alt="Three cards, one streak growing smaller from left to right")

# %%
Markdown(page_text(weak[0]))

# %%
Markdown(page_text(weak[1]))

# %% [markdown]
# ## 4. Off-line: compare the gaps, not the streaks
#
# Three, eight and seventeen degrees. The streak itself is of the right size, so an eye that looks
# for small streaks passes over it. The two gaps beside it give it away: one wide, one narrow. At
# seventeen degrees the wide gap is easily taken for a blocked hole; count the streaks.

# %%
turned = pages("Slightly off-line", "Off-line", "Far off-line")
Image(card_row(turned), alt="Three cards, one streak turned further out of its place each time")

# %%
Markdown(page_text(turned[1]))

# %% [markdown]
# ## 5. Spray where none belongs
#
# A jet of no hole, and a wet tip. A spot in the middle says nothing of the holes: the pattern
# around it can be perfect. It asks for the seat leakage test, and a card alone cannot clear it.

# %%
extra = pages("A jet that belongs to no hole", "A wet tip")
Image(seen_row(extra), alt="A card with a stray streak, and a card with a wet spot in the middle")

# %%
Markdown(page_text(extra[0]))

# %%
Markdown(page_text(extra[1]))

# %% [markdown]
# ## 6. Looks wrong, but is no fault of the nozzle
#
# The nozzle of section 1 again, three times: not square to the card, under a lamp that is
# mirrored, and with a shadow across. **A fault sits in one hole; the set-up touches all of them**,
# or one side of the card, dry paper included.

# %%
alike = pages(
    "Nozzle not square to the card", "Lamp mirrored on the card", "Shadow across the card"
)
Image(card_row(alike), alt="Three cards of a good nozzle: tilted, under glare, under a shadow")

# %%
Markdown(page_text(alike[0]))

# %% [markdown]
# ## 7. Your turn
#
# Four cards, six holes each. Which would you put back into an engine? Write down verdict, hole (as
# on a clock) and fault for each before you read on.

# %%
asked = [
    CardRequest(sheet="200x200", megapixels=0.7, seed=301, off_line=((5, 9.0),)),
    CardRequest(sheet="200x200", megapixels=0.7, seed=302),
    CardRequest(sheet="200x200", megapixels=0.7, seed=303, weak=((2, 0.5),)),
    CardRequest(sheet="200x200", megapixels=0.7, seed=304, tilt_deg=3.0),
]
template = LESSONS["Six good holes"]
quiz = [
    build_page(replace(template, title=k, request=w)) for k, w in zip("ABCD", asked, strict=True)
]
Image(card_row(quiz, named=False), alt="Four cards, A to D, to be judged")

# %% [markdown]
# ### Answers

# %%
Image(seen_row(quiz[:2]), alt="Cards A and B with what the tool found")

# %%
Image(seen_row(quiz[2:]), alt="Cards C and D with what the tool found")

# %% [markdown]
# **A**: the streak at 9 o'clock is nine degrees out of line; one gap beside it is wider than the
# other by eighteen. **B** is good. **C**: the hole at 2:30 is weak, it gives half. **D** is good
# as well, sprayed with the tip three degrees askew: the streaks on the right are longer than those
# on the left, and none is odd among its neighbours.
#
# ## Going on
#
# - `spraycheck atlas --out atlas/` makes the whole book, thirty-odd pages, for print and screen.
# - `spraycheck quiz --name Ana` trains one person and follows what that person finds; `--exam
#   --seed 7` is the same paper for a whole class; `--report` says at which size a person finds
#   each kind of fault, beside the tool on the same cards.
# - `spraycheck demo --holes 6 --weak 5:0.4 --out card.jpg` draws a card of your own.
# - `spraycheck handout --out handout.pdf` is the page for the wall beside the tester.
#
# No injector is spoilt and nobody stands near a jet. What cannot be learnt here is the bench
# itself: purging, releasing pressure, keeping hands out. Teach that first.
