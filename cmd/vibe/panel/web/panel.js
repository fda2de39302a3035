// The page at the lathe. What it shows comes from the server, words included; here is only how.
'use strict';
const lostAfter = 1500; // ms without a word; the server speaks every 500
const $ = id => document.getElementById(id);
const field = form => $(form).elements[0];
const arrows = { hold: '●', raise: '▲', lower: '▼', stop: '■', wait: '…', lost: '?' };
let heard = 0, shown = '', drawn = 0, doc = null;

function put(id, text) { const e = $(id); if (e.textContent !== text) e.textContent = text; }
function button(text, press) { const b = document.createElement('button'); b.textContent = text; b.addEventListener('click', press); return b; }
function list(id, lines, more) {
  const e = $(id), key = JSON.stringify(lines);
  if (e.dataset.key === key) return;
  e.dataset.key = key;
  e.replaceChildren(...lines.map(([text, source], i) => {
    const li = document.createElement('li');
    li.append(text);
    if (source) { const s = document.createElement('span'); s.className = 'source'; s.textContent = ' (' + source + ')'; li.append(s); }
    if (more) more(li, i);
    return li;
  }));
}

// act shows an action; a change of it is said to a screen reader, as a sound and, if wanted, spoken.
function act(action, word, target, say) {
  document.body.dataset.action = action;
  document.body.classList.toggle('lost', action === 'lost');
  put('arrow', arrows[action]); put('action', word); put('target', target); put('say', say);
  document.title = word + (target ? ' ' + target : '') + ' – vibe';
  if (shown === action + target) return;
  shown = action + target;
  put('aloud', say);
  sound(action);
  if ($('voice').ariaPressed === 'true' && action !== 'wait') { speechSynthesis.cancel(); speechSynthesis.speak(new SpeechSynthesisUtterance(say)); }
}

function show(d) {
  doc = d;
  const s = d.shows;
  if (d.ended) act('lost', 'ENDED', '', 'The session has ended; nothing here is of now.');
  else act(d.advice.action, s.action, s.target, s.say);
  put('speed', s.speed); put('shake', s.shake); put('feel', s.feel); put('caution', s.caution);
  $('feel').classList.toggle('words', s.feel.includes(' '));
  list('reasons', (d.advice.reasons || []).map(r => [r.text, r.source]));
  list('ceilings', (d.advice.ceilings || []).map(c => [c.name + ': ' + Math.round(c.rpm) + ' rpm', c.source]));
  list('notes', d.notes.map(n => [n]));
  const select = field('task');
  if (!select.options.length) select.append(...d.tasks.map(t => new Option(t)));
  if (document.activeElement !== select) select.value = d.task;
  field('diameter').placeholder = d.diameter || '310 mm';
  list('marks', d.marks.map(m => [m.says]), (li, i) => { if (d.marks[i].heard) li.append(button('Hear', () => hear('?mark=' + i))); });
  for (const input of document.querySelectorAll('#dial, #begin label')) input.hidden = d.play; // what is known of it
  balance(d);
  if (performance.now() - drawn > 900) { drawn = performance.now(); plots(d); }
}

// Nothing old is shown as if it were new.
setInterval(() => {
  if (performance.now() - heard < lostAfter) return;
  act('lost', 'NO CONNECTION', '', 'This page hears nothing from the computer at the lathe: do not go by it, look there. It comes back by itself when vibe does; if not, open the link that vibe shows.');
  put('speed', '–'); put('shake', '–'); put('feel', '–');
}, 100);

let events;
function listen() {
  events = new EventSource('events');
  events.onmessage = e => { heard = performance.now(); show(JSON.parse(e.data)); };
  events.onerror = () => {
    heard = -Infinity; // the browser knows at once that the server has gone; not that the network has
    if (events.readyState === EventSource.CLOSED) setTimeout(listen, 2000);
  };
}
listen();

async function say(what, to = 'answer') {
  try {
    const r = await fetch('say', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(what) });
    const a = await r.json();
    put(to, a.said || a.error);
  } catch { put(to, 'Not said: no connection to the computer at the lathe.'); }
}
for (const id of ['diameter', 'dial']) $(id).addEventListener('submit', e => { e.preventDefault(); say({ [id]: field(id).value }); field(id).value = ''; });
$('task').addEventListener('change', e => say({ task: e.target.value }));
$('task').addEventListener('submit', e => e.preventDefault());
document.querySelectorAll('[data-mark]').forEach(b => b.addEventListener('click', () => say({ mark: b.dataset.mark })));
for (const id of ['sound', 'voice']) $(id).addEventListener('click', e => { const b = e.currentTarget; b.ariaPressed = b.ariaPressed === 'true' ? 'false' : 'true'; if (id === 'sound') sound('hold'); });

// Steps of a balancing.
document.querySelectorAll('[data-balance]').forEach(b => b.addEventListener('click', () => say({ balance: b.dataset.balance }, 'balancesay')));
$('begin').addEventListener('submit', e => {
  e.preventDefault();
  const f = e.target.elements;
  say({ balance: 'begin', trial: f.trial.value, radius: f.radius.value, fastened: f.fastened.value }, 'balancesay');
});

// The spectrum is asked for only while it is in sight.
let inSight = false;
new IntersectionObserver(seen => { inSight = seen.at(-1).isIntersecting; }).observe($('turns'));
setInterval(async () => {
  if (!inSight || document.hidden) return;
  try { put('turnssay', plots.spectrum(await (await fetch('spectrum')).json())); } catch { plots.spectrum(null); put('turnssay', ''); }
}, 1000);

// hear plays the last seconds, or those before a mark, as loud as they were hard.
let playing;
async function hear(which) {
  audio ||= new AudioContext();
  if (playing) playing.stop();
  try {
    const r = await fetch('sound' + which);
    if (!r.ok) { put('answer', await r.text()); return; }
    playing = audio.createBufferSource();
    playing.buffer = await audio.decodeAudioData(await r.arrayBuffer());
    playing.connect(audio.destination);
    playing.start();
    put('answer', 'playing ' + playing.buffer.duration.toFixed(1) + ' s');
  } catch (e) { put('answer', 'not played: ' + e.message); }
}
$('hear').addEventListener('click', () => hear(''));

// sound: two low tones for lower, three high ones for stop or a lost connection, a soft one otherwise; pitched as the
// computer's own are.
let audio;
function sound(action) {
  if ($('sound').ariaPressed !== 'true') return;
  audio ||= new AudioContext();
  const [tone, times] = { stop: [1300, 3], lost: [1300, 3], lower: [520, 2] }[action] || [660, 1];
  for (let i = 0; i < times; i++) {
    const o = audio.createOscillator(), g = audio.createGain(), t = audio.currentTime + i * .3;
    o.type = times > 1 ? 'square' : 'sine';
    o.frequency.value = tone; g.gain.setValueAtTime(.3, t); g.gain.exponentialRampToValueAtTime(.001, t + .25);
    o.connect(g).connect(audio.destination); o.start(t); o.stop(t + .25);
  }
}
