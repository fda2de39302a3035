// The plots: shake against speed, over the last minutes, and by how often a minute.
'use strict';
const plots = (() => {
  const color = name => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const size = el => ({ width: Math.max(280, el.clientWidth), height: 260 });
  const axis = label => ({ label, stroke: color('--ink'), grid: { stroke: color('--line'), width: 1 }, ticks: { stroke: color('--line') } });
  let limits = {};
  // Edges of feel as dashed lines with their words, bands to avoid hatched by their words too.
  const marks = u => {
    const c = u.ctx;
    c.save();
    c.font = Math.round(13 * devicePixelRatio) + 'px system-ui, sans-serif';
    c.textAlign = 'left'; c.textBaseline = 'alphabetic';
    c.fillStyle = c.strokeStyle = color('--soft');
    c.setLineDash([6, 6]);
    (limits.edges || []).forEach((edge, i) => {
      if (edge > u.scales.y.max) return;
      const y = u.valToPos(edge, 'y', true);
      c.beginPath(); c.moveTo(u.bbox.left, y); c.lineTo(u.bbox.left + u.bbox.width, y); c.stroke();
      c.fillText(['lively from here', 'rough from here', 'violent from here'][i], u.bbox.left + 6, y - 4);
    });
    if (u.speeds) {
      (limits.avoid || []).forEach(([from, to]) => {
        const a = u.valToPos(from, 'x', true), b = u.valToPos(to, 'x', true);
        c.globalAlpha = .25; c.fillRect(a, u.bbox.top, b - a, u.bbox.height); c.globalAlpha = 1;
        c.fillText('shaky', a + 4, u.bbox.top + 16 * devicePixelRatio);
      });
      (limits.ceilings || []).forEach(n => {
        if (n < u.scales.x.min || n > u.scales.x.max) return;
        const x = u.valToPos(n, 'x', true);
        c.setLineDash([]); c.beginPath(); c.moveTo(x, u.bbox.top); c.lineTo(x, u.bbox.top + u.bbox.height); c.stroke();
        c.textAlign = 'right'; c.fillText('ceiling', x - 4, u.bbox.top + 34 * devicePixelRatio); c.textAlign = 'left';
      });
    }
    c.restore();
  };
  // Beyond violent it is of no interest how far.
  const top = (u, min, max) => [0, Math.min(16, Math.max(5, max * 1.15))];
  // The once-per-turn line and its multiples, in the spectrum.
  let line = null;
  const orders = u => {
    if (!line) return;
    const c = u.ctx;
    c.save();
    c.font = Math.round(13 * devicePixelRatio) + 'px system-ui, sans-serif';
    c.textAlign = 'center'; c.textBaseline = 'alphabetic';
    for (let k = 1; k <= 5 && k * line <= u.scales.x.max; k++) {
      const x = u.valToPos(k * line, 'x', true);
      c.fillStyle = c.strokeStyle = color(k === 1 ? '--line2' : '--soft');
      c.setLineDash(k === 1 ? [] : [4, 4]);
      c.beginPath(); c.moveTo(x, u.bbox.top + 18 * devicePixelRatio); c.lineTo(x, u.bbox.top + u.bbox.height); c.stroke();
      c.fillText(k === 1 ? 'turn' : k + '×', x, u.bbox.top + 13 * devicePixelRatio);
    }
    c.restore();
  };
  const make = (id, x, series, bands, own = {}) => new uPlot({
    ...size(document.getElementById(id)), series: [{ label: x }, ...series], bands, legend: { live: false }, cursor: { show: false },
    scales: { x: { time: false, range: own.x }, y: { range: own.y || top } }, axes: [axis(x), axis('mm/s')], hooks: { draw: [own.draw || marks] },
  }, [[], ...series.map(() => [])], document.getElementById(id));
  let map, past, turns;
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => { if (map) { [map, past, turns].forEach(u => u.destroy()); map = null; } });
  const begin = () => {
    map = make('map', 'rpm', [
      { label: 'upper edge', stroke: color('--line'), points: { show: false } }, { label: 'lower edge', stroke: color('--line'), points: { show: false } },
      { label: 'expected', stroke: color('--line1'), dash: [4, 4], points: { show: false } },
      { label: 'seen', stroke: color('--line2'), width: 0, points: { show: true, size: 9, fill: color('--line2') } },
    ], [{ series: [1, 2], fill: color('--line') + '66' }]);
    map.speeds = true;
    past = make('past', 's ago', [{ label: 'shake', stroke: color('--line1'), width: 2, points: { show: false } }], undefined, { x: [-120, 0] });
    turns = make('turns', 'times a minute', [{ label: 'all axes', stroke: color('--line1'), width: 2, points: { show: false } }], undefined,
      { draw: orders, x: (u, min, max) => [0, line ? Math.min(max, 5.5 * line) : max], y: (u, min, max) => [0, Math.max(.2, max * 1.25)] });
  };
  addEventListener('resize', () => { if (map) [map, past, turns].forEach(u => u.setSize(size(u.root.parentNode))); });
  // tell says what the pictures show to who does not see them.
  const tell = (seen, shakes) => {
    const mm = v => v.toPrecision(2) + ' mm/s';
    const say = (id, text) => document.getElementById(id).setAttribute('aria-label', text);
    say('map', 'Shake against speed. ' + (seen.length ? 'Measured: ' + seen.map(p => mm(p.shake_mm_s) + ' at ' + Math.round(p.speed_rpm) + ' rpm').join(', ') + '.' : 'Nothing is measured yet.'));
    say('past', 'Shake over the last two minutes. ' + (shakes.length ? 'From ' + mm(Math.min(...shakes)) + ' to ' + mm(Math.max(...shakes)) + ', last ' + mm(shakes.at(-1)) + '.' : 'Nothing is measured yet.'));
  };
  const draw = (doc) => {
    if (!map) begin();
    limits = { edges: doc.edges_mm_s, avoid: doc.advice.avoid, ceilings: (doc.advice.ceilings || []).map(c => c.rpm) };
    const m = doc.map || [];
    map.setData([m.map(p => p.speed_rpm), m.map(p => p.high_mm_s), m.map(p => p.low_mm_s), m.map(p => p.shake_mm_s), m.map(p => p.seen ? p.shake_mm_s : null)]);
    past.setData([doc.past.map(p => p[0] - doc.clock_s), doc.past.map(p => p[1])]);
    tell(m.filter(p => p.seen), doc.past.map(p => p[1]).filter(v => v !== null));
  };
  // spectrum draws it, or nothing without data, and returns what is to be said of it.
  draw.spectrum = s => {
    if (!map) return '';
    line = s && s.line_rpm;
    const y = s ? s.shake_mm_s : [];
    turns.setData([y.map((_, i) => s.first_rpm + i * s.step_rpm), y]);
    if (!y.length) return 'No data.';
    return (line ? 'The spindle turns ' + Math.round(line) + ' times a minute; what is on none of the marks is belt, motor or cutting.' : 'Which line is the spindle is not sure now.') +
      ' A picture: a line may show up to 15 % low, and this is all axes together; the number above counts.';
  };
  return draw;
})();
