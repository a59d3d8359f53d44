// What a run comes to, as `cuffloop` counts it: by tick over what counts, by beat over the beats that do.

export function errors(cuff, ideal, limited, counted, beats, period_s) {
  let squares = 0, count = 0, held = 0;
  for (let k = 0; k < cuff.length; k++) {
    if (!counted[k]) continue;
    squares += (cuff[k] - ideal[k]) ** 2; held += limited[k] > 0.5 ? 1 : 0; count++;
  }
  const found = { rms_mmHg: Math.sqrt(squares / count), limited_share: held / count, beats: beats.length };
  const sums = { systolic_mmHg: 0, mean_mmHg: 0, diastolic_mmHg: 0 };
  for (const [begin, end] of beats) {
    const [one, other] = [cuff, ideal].map((values) => beat(values, begin, end, period_s));
    for (const name of Object.keys(sums)) sums[name] += (one[name] - other[name]) / beats.length;
  }
  return { ...found, ...sums };
}

function beat(values, begin, end, period_s) {
  let high = -Infinity, low = Infinity, area = 0;
  for (let k = begin; k < end; k++) {
    high = Math.max(high, values[k]); low = Math.min(low, values[k]);
    area += 0.5 * (values[k] + values[k + 1]) * period_s;
  }
  return { systolic_mmHg: high, mean_mmHg: area / ((end - begin) * period_s), diastolic_mmHg: low };
}
