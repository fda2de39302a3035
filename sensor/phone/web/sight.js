// What a sensor of this rate and step can see, in words.

// sight takes the samples of the last seconds, [ms, x, y, z].
export function sight(recent) {
  const n = recent.length;
  if (n < 20) return { speed: "Its rate is being measured …", step: "" };
  const same = recent.filter((s, i) => i > 0 && s[0] - recent[i - 1][0] < 0.2).length;
  if (same > n / 20) return { speed: "This browser blurs its times, against being recognised, and so nothing can be told: allow it exact times for this page, or take another browser.", step: "" };
  const rate = 1000 * (n - 1) / (recent[n - 1][0] - recent[0][0]);
  const top = Math.floor(3 * rate) * 10; // a turn must be seen more than twice
  return {
    speed: `${rate.toFixed(0)} samples a second: up to ${top} rpm without the dial's speed.`,
    step: stepText(recent),
  };
}

function stepText(recent) {
  const step = finest(recent);
  if (!step) return "Its values do not change: they may be stuck, or everything is still.";
  if (step < 0.005) return "Its steps are fine: they hide nothing that matters.";
  // Below two and a half steps what was rounded away cannot be told (the tracker's own limit): of a sine at 10 Hz.
  const small = 1000 * 2.5 * step / (2 * Math.PI * 10) / Math.SQRT2;
  return `It counts in steps of ${Number(step.toPrecision(1))} m/s²: at 600 rpm they hide shakes below about ${Number(small.toPrecision(1))} mm/s, and at 300 rpm twice that.`;
}

// finest is the smallest difference between two values of an axis, beyond the noise of
// floating point, m/s²; 0 if there is none.
function finest(recent) {
  let least = Infinity;
  for (let k = 1; k <= 3; k++) {
    const values = recent.map((s) => s[k]).sort((a, b) => a - b);
    for (let i = 1; i < values.length; i++) {
      const d = values[i] - values[i - 1];
      if (d > 1e-5) least = Math.min(least, d);
    }
  }
  return least === Infinity ? 0 : least;
}
