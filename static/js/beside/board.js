// The opening page beside the smoker: what stands where, what is due, what waits.  It refreshes itself, rings
// when a reading falls due, keeps the screen awake, and goes on without network.
import * as queue from './queue.js';
import { clockLine, route, sameLoad } from './acts.js';
import { clock, codes, find, go, h, ownLoads, penOpen, placeName, span, state, WORDS } from './pad.js';

const EACH = 20000,
  TICK = 5000;
const at = id => document.getElementById(id);
let shownBoard = '',
  muted = localStorage.getItem('muted') === 'yes',
  rung = new Set(JSON.parse(sessionStorage.getItem('rung') ?? '[]'));

async function begin() {
  const fresh = JSON.parse(at('shift-data').textContent),
    kept = await queue.snapshot().catch(() => null);
  const here = await queue.believe(fresh).catch(() => false); // the page has just come from the server
  state.data = !here && kept && kept.now > fresh.now ? kept : fresh;
  state.online = here;
  if (here) heed(fresh);
  else if (state.data.board) showBoard(state.data.board);
  addEventListener('hashchange', () => route().then(overlay));
  for (const type of ['pointerdown', 'keydown']) addEventListener(type, used, { passive: true });
  addEventListener('online', refresh);
  addEventListener('offline', () => {
    state.online = false;
    overlay();
  });
  document.addEventListener('visibilitychange', () => {
    if (!document.hidden) {
      awake();
      refresh();
    }
  });
  document.addEventListener('click', follow);
  queue.events.addEventListener('changed', overlay);
  queue.events.addEventListener('stored', () => {
    if (location.hash.startsWith('#answer/')) route();
    soon();
  });
  queue.events.addEventListener('refused', () => {
    if (location.hash.startsWith('#answer/')) route();
  });
  worker();
  awake();
  await route();
  if (here) {
    await queue.send();
    await overlay();
  } else await refresh();
  setInterval(refresh, EACH);
  setInterval(tick, TICK);
}

// a person's hand keeps the pen open, as on the server; what the page does by itself does not
let touched = false;
function used() {
  if (penOpen()) {
    state.used = Date.now();
    touched = true;
  }
  sound.resume?.();
}
let later;
function soon() {
  clearTimeout(later);
  later = setTimeout(refresh, 400);
}

async function refresh() {
  const hand = touched;
  touched = false;
  const { data, needs } = await queue.fetchData(hand);
  state.online = Boolean(data);
  state.out = needs === 'log in';
  if (data) {
    state.data = data;
    heed(data);
    showBoard(data.board);
    await queue.send();
  }
  await overlay();
}

// the pen as the server sees it
function heed({ pen, now }) {
  state.used = pen.open
    ? Math.max(state.used, Date.now() - Math.max(0, pen.lock_after_ms - (pen.locks_at - now)))
    : 0;
  if (!pen.open) state.pin = null;
}

// ---- the server's board, with what this tablet knows beside it ----
function showBoard(html) {
  if (html === shownBoard) return;
  const focused = document.activeElement?.closest('#board')?.contains(document.activeElement)
      ? document.activeElement.getAttribute('href')
      : null,
    open = [...document.querySelectorAll('#board details[open]')].length;
  at('board').innerHTML = html;
  shownBoard = html;
  if (focused)
    document.querySelector(`#board a[href="${CSS.escape(focused).replaceAll('\\', '')}"]`)?.focus();
  if (open) for (const one of document.querySelectorAll('#board details')) one.open = true;
}
function follow(event) {
  const link = event.target.closest('a[data-read], a[data-open], a[data-go]');
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  const { read, open, go: page } = link.dataset;
  go(read ? `read/${read.replace(':', '/')}` : open ? `load/${open.split(':')[1]}` : page);
}

async function overlay() {
  if (!state.data) return;
  const all = await queue.list().catch(() => []),
    open = all.filter(entry => entry.state !== 'stored');
  strip(open);
  await alerts();
  const own = await ownLoads();
  for (const old of document.querySelectorAll('.tile-waits, .tile-clocks, .load-own')) old.remove();
  for (const tile of document.querySelectorAll('#board .load')) {
    const ids = tile.dataset.loads.split(' ').map(Number),
      loads = state.data.loads.filter(one => ids.includes(one.id));
    const waits = open.filter(entry => concerns(entry, loads, Number(tile.dataset.place)));
    const more = tile.querySelector('.load-more');
    if (waits.length) more.before(waitsLine(waits));
    const clocks = loads.length === 1 ? loads[0].clocks : [];
    if (clocks.length) more.before(h('div', { className: 'tile-clocks' }, clocks.map(clockLine)));
  }
  document.querySelector('#board .loads')?.prepend(...own.map(tileOf));
  tick();
}
function concerns(entry, loads, place) {
  const body = JSON.parse(entry.body);
  return body.load != null
    ? loads.some(one => sameLoad(entry, one))
    : body.place === place && entry.kind === 'reading';
}
function waitsLine(waits) {
  const last = waits.at(-1);
  return h(
    'p',
    { className: 'tile-waits' },
    h('b', {}, `${waits.length} ${waits.length > 1 ? 'entries wait' : 'entry waits'}`),
    `; last: ${last.label}`,
    last.shown?.verdict ? ` (provisional: ${WORDS[last.shown.verdict]})` : '',
  );
}
function tileOf(load) {
  return h(
    'li',
    { className: 'load load-pending load-own' },
    h('h2', { className: 'far' }, placeName(load.place)),
    h(
      'p',
      { className: 'load-step' },
      `${load.step}, since ${clock(load.since)}; begun on this tablet, waits to be sent`,
    ),
    h('p', {}, `Lots: ${load.lots.map(one => one.code).join(', ')}`),
    h(
      'div',
      { className: 'load-acts' },
      h(
        'button',
        {
          type: 'button',
          className: 'button button-read',
          onclick: () => go(`read/load/key:${load.id.key}`),
        },
        'Read the fish',
      ),
      h(
        'button',
        { type: 'button', className: 'button button-quiet', onclick: () => go(`load/key:${load.id.key}`) },
        'More',
      ),
    ),
  );
}

// ---- the lines above everything: network, what waits, whose pen ----
function strip(open) {
  const { pen } = state.data,
    refused = open.filter(entry => entry.state === 'refused').length,
    need = open.find(entry => entry.needs);
  const words = [];
  if (state.out)
    words.push(
      h('a', { className: 'button button-go', href: '/in/?next=/' }, 'Log in: this tablet is logged out'),
    );
  else if (!state.online)
    words.push(h('span', { className: 'strip-word' }, `No network, as of ${clock(state.data.now)}`));
  if (open.length)
    words.push(
      h(
        'button',
        { type: 'button', className: 'button strip-waits', onclick: () => go('waiting') },
        `${open.length} ${open.length > 1 ? 'entries wait' : 'entry waits'}${refused ? `, ${refused} refused` : ''}${need ? ', PIN wanted' : ''}`,
      ),
    );
  words.push(
    h(
      'span',
      { className: 'pen-state' },
      penOpen()
        ? `Pen open: ${pen.initials}, until ${clock(Date.now() - Date.now() + queue.houseNow().at + pen.lock_after_ms - (Date.now() - state.used))}`
        : 'Pen closed: name and PIN for each entry',
    ),
  );
  if (!window.isSecureContext || !navigator.serviceWorker)
    words.push(
      h(
        'a',
        { className: 'button button-quiet', href: '/tablet/' },
        'Nothing is kept without network here: what to do',
      ),
    );
  words.push(
    h(
      'button',
      {
        type: 'button',
        className: 'button button-quiet strip-sound',
        'aria-pressed': String(!muted),
        onclick: mute,
      },
      muted ? 'Sound: off' : 'Sound: on',
    ),
  );
  const box = at('strip'),
    text = words.map(one => one.textContent).join('|');
  if (box.dataset.text !== text) {
    box.dataset.text = text;
    box.replaceChildren(...words);
  }
  at('strip-live').textContent = open.length ? `${open.length} waiting` : '';
}
async function alerts() {
  const box = at('alerts'),
    unread = location.hash.startsWith('#answer/') ? [] : await queue.unseen(),
    text = unread.map(entry => entry.key).join();
  if (box.dataset.text === text) return;
  box.dataset.text = text;
  box.replaceChildren(
    ...unread.map(entry =>
      h(
        'div',
        { className: 'box box-refusal', role: 'alert' },
        h('strong', { className: 'box-word' }, WORDS[(entry.answer ?? entry.shown).verdict]),
        h(
          'div',
          {},
          h('p', {}, entry.label),
          h(
            'div',
            { className: 'actions' },
            h(
              'button',
              { type: 'button', className: 'button button-go', onclick: () => go(`answer/${entry.key}`) },
              'Read what to do',
            ),
          ),
        ),
      ),
    ),
  );
}

// ---- what is due ----
function tick() {
  if (!state.data) return;
  const now = queue.houseNow().at,
    { due, round } = state.data,
    next = due[0],
    box = at('next');
  at('now').textContent = clock(now);
  for (const node of document.querySelectorAll('[data-since]'))
    node.textContent = span(now - Number(node.dataset.since));
  for (const node of document.querySelectorAll('[data-due]'))
    node.classList.toggle('due-over', Number(node.dataset.due) < now);
  const text = next ? `${JSON.stringify(next)}${Math.floor((next.at - now) / 60000)}${round.length}` : 'none';
  if (box.dataset.text !== text) {
    box.dataset.text = text;
    box.replaceChildren(
      ...(next ? nextPanel(next, now, round) : [h('p', { className: 'next-none' }, 'No reading is due.')]),
    );
  }
  ring(due, now);
}
function nextPanel(next, now, round) {
  const load = next.where.load && find('loads', next.where.load),
    place = load ? load.place : next.where.place,
    over = next.at < now;
  return [
    h('h2', { className: 'visually-hidden' }, 'The next thing to do'),
    h(
      'div',
      { className: 'next-words' },
      h(
        'p',
        { className: 'next-when' },
        over ? `Overdue by ${span(now - next.at)}` : `In ${span(next.at - now)}, by ${clock(next.at)}`,
      ),
      h('p', { className: 'far' }, placeName(place)),
      h(
        'p',
        {},
        `${next.what}${load ? `: the fish of ${codes(load)}` : ''}${next.why ? `, ${next.why}` : ''}`,
      ),
    ),
    h(
      'div',
      { className: 'actions' },
      h(
        'button',
        {
          type: 'button',
          className: `button button-wide ${over || next.at - now < 900000 ? 'button-go' : ''}`,
          onclick: () => go(load ? `read/load/${next.where.load}` : `read/place/${place}`),
        },
        load ? 'Read the fish now' : 'Read it now',
      ),
      round.length > 1 &&
        h(
          'button',
          { type: 'button', className: 'button', onclick: () => go('round') },
          `Do the round: ${round.map(one => placeName(one.place)).join(', ')}`,
        ),
    ),
  ];
}
const sound = {};
function ring(due, now) {
  for (const one of due) {
    const key = `${JSON.stringify(one.where)} ${one.at}`;
    if (one.at > now || now - one.at > 3600000 || rung.has(key)) continue;
    rung.add(key);
    sessionStorage.setItem('rung', JSON.stringify([...rung].slice(-50)));
    at('ring').textContent =
      `A reading is due: ${one.where.load ? placeName(find('loads', one.where.load)?.place) : placeName(one.where.place)}`;
    if (muted) continue;
    navigator.vibrate?.([300, 150, 300]);
    beep();
  }
}
function beep() {
  try {
    sound.context ??= new AudioContext();
    sound.resume ??= () => sound.context.state === 'suspended' && sound.context.resume();
    for (const [wait, pitch] of [
      [0, 660],
      [0.25, 880],
      [0.5, 660],
    ]) {
      const tone = sound.context.createOscillator(),
        loud = sound.context.createGain();
      tone.frequency.value = pitch;
      loud.gain.value = 0.25;
      tone.connect(loud).connect(sound.context.destination);
      tone.start(sound.context.currentTime + wait);
      tone.stop(sound.context.currentTime + wait + 0.18);
    }
  } catch {
    /* a browser without sound still shows it */
  }
}
function mute() {
  muted = !muted;
  localStorage.setItem('muted', muted ? 'yes' : 'no');
  overlay();
  if (!muted) beep();
}
async function awake() {
  try {
    if (!document.hidden) await navigator.wakeLock?.request('screen');
  } catch {
    /* a battery nearly empty may say no */
  }
}
async function worker() {
  if (!navigator.serviceWorker) return;
  try {
    await navigator.serviceWorker.register('/sw.js');
    const ready = await navigator.serviceWorker.ready;
    if (!(await caches.match('/'))) ready.active.postMessage('keep the page');
  } catch {
    /* without it the page works while there is network; the strip says what to do */
  }
}
begin();
