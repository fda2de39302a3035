// The balancing under way: its words, and the face of the blank with mark, masses and heavy side.
'use strict';
const balance = (() => {
  const $ = id => document.getElementById(id);
  const svg = (kind, attributes, text) => {
    const e = document.createElementNS('http://www.w3.org/2000/svg', kind);
    for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
    if (text) e.textContent = text;
    return e;
  };
  // at is the point at an angle from the mark, clockwise, r from the axis: the blank has a radius of 80.
  const at = (deg, r) => [120 + r * Math.sin(deg * Math.PI / 180), 120 - r * Math.cos(deg * Math.PI / 180)];
  const sector = (from, to) => {
    if (to - from >= 359) return svg('circle', { class: 'heavy', cx: 120, cy: 120, r: 80 });
    const [a, b] = [at(from, 80), at(to, 80)];
    return svg('path', { class: 'heavy', d: `M120,120L${a}A80,80,0,${to - from > 180 ? 1 : 0},1,${b}Z` });
  };
  const put = (face, shape, deg, text) => {
    face.append(shape);
    if (text) { const [x, y] = at(deg, 104); face.append(svg('text', { x, y }, text)); }
  };
  const draw = p => {
    const face = svg('svg', { viewBox: '0 0 240 240', role: 'img', 'aria-label': p.says });
    face.append(svg('circle', { class: 'wood', cx: 120, cy: 120, r: 80 }));
    for (const h of p.heavy) put(face, sector(h.deg - h.within_deg, h.deg + h.within_deg), h.deg, 'heavy');
    const [x1, y1] = at(0, 80);
    put(face, svg('line', { class: 'mark', x1, y1, x2: 120, y2: 120 }), 0, 'mark 0°');
    p.made_deg.forEach(deg => { const [cx, cy] = at(deg, 62); face.append(svg('circle', { class: 'made', cx, cy, r: 7 })); });
    if (p.next) { const [cx, cy] = at(p.next.deg, 62); put(face, svg('circle', { class: 'next', cx, cy, r: 9 }), p.next.deg || 20, p.next.what); }
    if (p.fix) {
      const [x, y] = at(p.fix.deg, 62);
      put(face, svg('path', { class: 'fix', d: `M${x},${y - 11}L${x + 11},${y}L${x},${y + 11}L${x - 11},${y}Z` }), p.fix.deg, p.fix.what);
    }
    return face;
  };
  const line = text => {
    const p = document.createElement('p');
    p.textContent = text.trim().replace(/^- /, '• ');
    p.className = text.startsWith(' ') ? 'item' : 'head';
    return p;
  };
  let seen = -1, underWay = false;
  const buttons = taking => {
    document.querySelector('[data-balance=take]').hidden = taking || !underWay;
    document.querySelector('[data-balance=again]').hidden = taking || !underWay;
    document.querySelector('[data-balance=leave]').hidden = !taking;
  };
  // The document has words of its own; only when a step was taken are they fetched anew.
  return async d => {
    const b = d.balance;
    buttons(b.taking !== '');
    const says = b.taking ? 'Taking this run: ' + b.taking + '. Hold the speed.' : b.said;
    if ($('balancesay').textContent !== says) $('balancesay').textContent = says;
    if (seen === b.steps) return;
    const asked = seen = b.steps;
    try {
      const doc = await (await fetch('balance')).json();
      if (doc.error) throw new Error(doc.error);
      if (asked !== seen) return;
      $('lines').replaceChildren(...doc.lines.filter(l => l).map(line));
      $('face').replaceChildren(...(doc.picture ? [draw(doc.picture)] : []));
      underWay = doc.picture !== null;
      buttons(b.taking !== '');
      document.querySelector('#balance summary').textContent = doc.picture ? 'Forget this one and begin another' : 'Begin a balancing';
    } catch (e) { $('lines').replaceChildren(line(e.message)); }
  };
})();
