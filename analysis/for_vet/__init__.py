"""What a keeper takes along to a vet: one animal over a period, on paper.

`days` looks at the zones day by day, `report` gathers everything, `unknown` says what is missing,
`drawn` and `charts` put it on paper. The page makes it in a process of its own
(`python -m analysis.for_vet`), for it loads matplotlib.
"""
