"""The quiz on reading cards: what is asked, how answers are marked, and what a trainee can see.

Values in, text, pixels or bytes out. Read `kinds` for what is asked and how plain it is made,
`marking` for right and wrong, `standing` for what many answers say about a person, `page` for the
quiz that runs in a browser without a network.
"""
