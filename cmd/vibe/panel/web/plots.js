// The two plots: shake against speed, and over the last minutes.
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
  const make = (id, x, series, bands) => new uPlot({
    ...size(document.getElementById(id)), series: [{ label: x }, ...series], bands, legend: { live: false }, cursor: { show: false },
    scales: { x: { time: false }, y: { range: top } }, axes: [axis(x), axis('mm/s')], hooks: { draw: [marks] },
  }, [[], ...series.map(() => [])], document.getElementById(id));
  let map, past;
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => { if (map) { map.destroy(); past.destroy(); map = null; } });
  const begin = () => {
    map = make('map', 'rpm', [
      { label: 'upper edge', stroke: color('--line'), points: { show: false } }, { label: 'lower edge', stroke: color('--line'), points: { show: false } },
      { label: 'expected', stroke: color('--line1'), dash: [4, 4], points: { show: false } },
      { label: 'seen', stroke: color('--line2'), width: 0, points: { show: true, size: 9, fill: color('--line2') } },
    ], [{ series: [1, 2], fill: color('--line') + '66' }]);
    map.speeds = true;
    past = make('past', 's ago', [{ label: 'shake', stroke: color('--line1'), width: 2, points: { show: false } }]);
  };
  addEventListener('resize', () => { if (map) [map, past].forEach(u => u.setSize(size(u.root.parentNode))); });
  return (doc) => {
    if (!map) begin();
    limits = { edges: doc.edges_mm_s, avoid: doc.advice.avoid, ceilings: (doc.advice.ceilings || []).map(c => c.rpm) };
    const m = doc.map || [];
    map.setData([m.map(p => p.speed_rpm), m.map(p => p.high_mm_s), m.map(p => p.low_mm_s), m.map(p => p.shake_mm_s), m.map(p => p.seen ? p.shake_mm_s : null)]);
    past.setData([doc.past.map(p => p[0] - doc.clock_s), doc.past.map(p => p[1])]);
  };
})();
