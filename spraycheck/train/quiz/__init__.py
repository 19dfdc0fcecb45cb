"""The quiz: papers of questions, drawing them, asking in a terminal, keeping results, exporting."""
