// The ways in: views of the same state, each with its own first question.
import { Tune } from "./tune.js";

export const views = [{ name: "tune", label: "Tune", build: Tune }];
