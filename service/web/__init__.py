"""The pages. Thin: reports say what happened, wording says it in words, templates put it on paper."""
