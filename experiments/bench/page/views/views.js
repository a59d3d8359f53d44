// The ways in: views of the same state, each with its own first question.
import { Failing } from "./failing.js";
import { Tune } from "./tune.js";
import { Understand } from "./understand.js";

export const views = [
  { name: "tune", label: "Tune", build: Tune },
  { name: "understand", label: "Understand", build: Understand },
  { name: "break", label: "Break", build: Failing },
];
