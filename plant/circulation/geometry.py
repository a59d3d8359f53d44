"""The larger arteries of a young man: lengths and radii of 116 segments between numbered nodes.

Facts collected from the literature (mainly Mynard & Smolich, Ann Biomed Eng 2015;43:1443; Alastruey and others 2006
for the hand) in the table of the public repository peterhcharlton/pwdb, commit 5a0d472, here in millimetres, names
shortened. Two of its segments stand for thirty-five and more small branches. The table comes with this notice:

MIT License. Copyright (c) 2018 Peter Charlton. Permission is hereby granted, free of charge, to any person
obtaining a copy of this software and associated documentation files (the "Software"), to deal in the Software
without restriction, including without limitation the rights to use, copy, modify, merge, publish, distribute,
sublicense, and/or sell copies of the Software, and to permit persons to whom the Software is furnished to do so,
subject to the following conditions: The above copyright notice and this permission notice shall be included in all
copies or substantial portions of the Software. THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND,
EXPRESS OR IMPLIED, INCLUDING BUT NOT LIMITED TO THE WARRANTIES OF MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE
AND NONINFRINGEMENT. IN NO EVENT SHALL THE AUTHORS OR COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM, DAMAGES OR OTHER
LIABILITY, WHETHER IN AN ACTION OF CONTRACT, TORT OR OTHERWISE, ARISING FROM, OUT OF OR IN CONNECTION WITH THE
SOFTWARE OR THE USE OR OTHER DEALINGS IN THE SOFTWARE.
"""
from __future__ import annotations

from typing import NamedTuple

ROOT, HEIGHT_m = 1, 1.75  # node of the aortic valve; height of the man of the table (from memory)
LEFT_BRACHIAL, LEFT_FINGER = 21, 112  # segments; the cuffed finger is supplied by the second
LEFT_HAND = (107, 108, 109, 110, 111, 112, 113, 114, 115, 116)


class Artery(NamedTuple):
    """One segment, tapering evenly from its inlet to its outlet."""

    number: int
    inlet: int
    outlet: int
    length_m: float
    inlet_radius_m: float
    outlet_radius_m: float
    name: str


# number, node at its inlet and outlet, length mm, radius mm at its inlet and outlet, name
_TABLE = """
1 1 2 60 18.206 18.004 Ascending aorta
2 2 3 20 15.799 15.799 Aortic arch I
3 2 4 34 8.561 8.561 Brachiocephalic artery
4 4 5 34 7.348 6.736 Right subclavian artery I
5 4 6 94 4.899 4.225 Right common carotid artery
6 5 7 149 2.266 1.715 Right vertebral artery
7 5 8 422 6.736 2.89 Right brachial artery
8 8 9 235 1.592 1.31 Right radial artery
9 8 10 67 2.633 2.633 Right ulnar artery I
10 10 11 79 1.115 1.115 Right interosseous artery
11 10 12 171 2.449 2.241 Right ulnar artery II
12 6 13 178 3.491 2.633 Right internal carotid artery
13 6 14 41 3.062 2.756 Right external carotid artery I
14 3 15 39 15.187 15.187 Aortic arch II
15 3 16 139 4.532 3.95 Left common carotid artery
16 16 17 178 3.246 2.511 Left internal carotid artery
17 16 18 41 2.878 2.633 Left external carotid artery I
18 15 19 52 13.472 12.235 Descending thoracic aorta I
19 15 20 34 6.736 6.124 Left subclavian artery I
20 20 7 148 2.266 1.715 Left vertebral artery
21 20 22 422 5.695 2.89 Left brachial artery
22 22 23 235 1.592 1.31 Left radial artery
23 22 24 67 2.633 2.633 Left ulnar artery I
24 24 25 79 1.115 1.115 Left interosseous artery
25 24 26 171 2.449 2.241 Left ulnar artery II
26 19 27 80 1.47 1.47 Intercostal arteries
27 19 28 104 10.655 8.696 Descending thoracic aorta II
28 28 29 53 7.471 7.471 Abdominal aorta I
29 28 30 20 4.654 4.654 Celiac artery
30 30 31 10 3.674 3.674 Celiac artery II
31 30 32 71 3.552 3.368 Hepatic artery
32 31 33 66 2.939 2.939 Splenic artery
33 31 34 63 2.449 2.449 Gastric artery
34 29 35 59 3.674 3.674 Superior mesenteric artery
35 29 36 10 7.226 7.226 Abdominal aorta II
36 36 37 32 3.184 3.184 Left renal artery
37 36 38 10 6.981 6.981 Abdominal aorta III
38 38 39 32 3.184 3.184 Right renal artery
39 38 40 106 6.736 6.491 Abdominal aorta IV
40 40 41 50 1.96 1.96 Inferior mesenteric artery
41 40 42 10 6.369 6.124 Abdominal aorta V
42 42 44 58 4.507 4.287 Left common iliac artery
43 42 43 59 4.507 4.287 Right common iliac artery
44 44 45 144 3.429 3.307 Left external iliac artery
45 44 46 50 3.226 3.226 Left internal iliac artery
46 45 47 443 3.062 2.327 Left femoral artery
47 45 48 126 1.837 1.527 Left deep femoral artery
48 47 49 321 1.898 1.715 Left posterior tibial artery
49 47 50 343 1.592 1.408 Left anterior tibial artery
50 43 51 145 3.429 3.307 Right external iliac artery
51 43 52 50 3.226 3.226 Right internal iliac artery
52 51 53 444 3.062 2.327 Right femoral artery
53 51 54 127 1.837 1.527 Right deep femoral artery
54 53 55 322 1.898 1.715 Right posterior tibial artery
55 53 56 344 1.592 1.408 Right anterior tibial artery
56 7 21 15 2.449 2.327 Basilar artery II
57 21 57 10 2.327 1.653 Basilar artery I
58 57 58 4 1.164 1.164 Right posterior cerebral artery I
59 57 59 4 1.164 1.164 Left posterior cerebral artery I
60 58 60 4 0.919 0.919 Right posterior communicating artery
61 59 61 4 0.919 0.919 Left posterior communicating artery
62 58 62 59 1.225 1.102 Right posterior cerebral artery II
63 59 63 59 1.225 1.102 Left posterior cerebral artery II
64 60 64 4 2.388 2.327 Right distal internal carotid artery I
65 61 65 4 2.388 2.327 Left distal internal carotid artery I
66 66 67 12 1.286 1.225 Right anterior cerebral artery I
67 68 69 12 1.286 1.225 Left anterior cerebral artery I
68 66 70 8 1.837 1.715 Right middle cerebral artery M1
69 70 71 71 1.225 1.225 Right superior middle cerebral artery M2
70 70 72 70 1.225 1.225 Right inferior middle cerebral artery M2
71 68 73 8 1.837 1.715 Left middle cerebral artery M1
72 73 74 71 1.225 1.225 Left superior middle cerebral artery M2
73 73 75 70 1.225 1.225 Left inferior middle cerebral artery M2
74 67 76 24 1.102 1.041 Right anterior cerebral artery II
75 67 69 4 0.796 0.796 Anterior communicating artery
76 69 77 24 1.102 1.041 Left anterior cerebral artery II
77 13 60 11 2.633 2.388 Right internal carotid sinus
78 13 78 11 0.612 0.306 Right ophthalmic artery
79 17 61 11 2.633 2.388 Left internal carotid sinus
80 17 79 11 0.612 0.306 Left ophthalmic artery
81 14 80 61 2.449 2.143 Right external carotid artery II
82 14 81 101 1.715 1.715 Right other external carotid branches
83 18 82 61 2.449 2.143 Left external carotid artery II
84 18 83 101 1.347 0.98 Left other external carotid branches
85 80 84 61 1.96 1.837 Right superior temporal artery
86 80 85 91 1.347 0.612 Right maxillary artery
87 82 86 61 1.96 1.837 Left superior temporal artery
88 82 87 91 1.347 0.612 Left maxillary artery
89 84 88 100 1.347 0.857 Right superior temporal frontal artery
90 84 89 101 1.347 0.857 Right superior temporal parietal artery
91 86 90 100 1.347 0.857 Left superior temporal frontal artery
92 86 91 101 1.347 0.857 Left superior temporal parietal artery
93 64 92 36 0.919 0.796 Right anterior choroidal artery
94 64 66 4 2.327 2.327 Right distal internal carotid artery II
95 65 93 36 0.919 0.796 Left anterior choroidal artery
96 65 68 4 2.327 2.327 Left distal internal carotid artery II
97 9 94 30 0.703 0.703 Right deep palmar arch III
98 9 95 10 1.217 1.217 Right superficial palmar arch III
99 12 96 30 1.47 1.47 Right deep palmar arch I
100 12 97 10 1.911 1.911 Right superficial palmar arch I
101 95 97 10 1.106 1.106 Right superficial palmar arch II
102 95 98 30 0.998 0.998 Right digital artery III
103 97 99 30 1.531 1.531 Right digital artery II
104 94 100 15 0.703 0.703 Right digital artery IV
105 96 101 25 1.47 1.47 Right digital artery I
106 94 96 30 0.806 0.806 Right deep palmar arch II
107 23 102 30 0.703 0.703 Left deep palmar arch III
108 23 103 10 1.217 1.217 Left superficial palmar arch III
109 26 104 30 1.47 1.47 Left deep palmar arch I
110 26 105 10 1.911 1.911 Left superficial palmar arch I
111 103 105 10 1.106 1.106 Left superficial palmar arch II
112 103 106 30 0.998 0.998 Left digital artery III
113 105 107 30 1.531 1.531 Left digital artery II
114 102 108 15 0.703 0.703 Left digital artery IV
115 104 109 25 1.47 1.47 Left digital artery I
116 102 104 30 0.806 0.806 Left deep palmar arch II
"""


def _artery(line: str) -> Artery:
    number, inlet, outlet, length, wide, narrow, name = line.split(maxsplit=6)
    return Artery(int(number), int(inlet), int(outlet), 1e-3 * float(length), 1e-3 * float(wide), 1e-3 * float(narrow),
                  name)


ARTERIES = tuple(_artery(line) for line in _TABLE.strip().splitlines())
