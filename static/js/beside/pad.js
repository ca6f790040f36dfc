// The pages on which something is entered: the reading pad, who it was, what it showed, and the other acts.
// Each is drawn into #beside from the tablet's own copy of the data, so that all of them work without network.
import * as queue from './queue.js';
import { doubt, ninths, verdict } from './provisional.js';

// ---- drawing ----
export function h(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === false || value == null) continue;
    if (name.startsWith('on')) node.addEventListener(name.slice(2), value);
    else if (name in node && !name.includes('-') && name !== 'list') node[name] = value;
    else node.setAttribute(name, value === true ? '' : value);
  }
  node.append(...children.flat(9).filter(child => child != null && child !== false));
  return node;
}
const button = (words, onclick, look = '', more = {}) => h('button', { type: 'button', className: `button ${look}`, onclick, ...more }, words);
const back = (words = 'Back', to = '') => button(words, () => go(to), 'button-quiet');
export const go = hash => { location.hash = hash; };
export const WORDS = { MET: 'within limits', ADJUST: 'adjust process', PENDING: 'not yet shown', DEVIATION: 'deviation' };
export function said(value, look = 'verdict-big') {
  const found = document.querySelector(`#shapes [data-verdict="${value}"] svg`);
  return h('span', { className: `verdict verdict-${value.toLowerCase()} ${look}` }, found?.cloneNode(true), h('span', {}, WORDS[value]));
}
function draw(title, under, ...children) {
  const box = document.getElementById('beside');
  const heading = h('h1', { tabIndex: -1 }, title);
  box.replaceChildren(h('div', { className: 'beside-head' }, h('div', {}, heading, under && h('p', { className: 'under' }, under))), ...children.flat().filter(Boolean));
  heading.focus();
  return box;
}
const sheet = (...children) => h('section', { className: 'sheet' }, children);
const notice = (word, text, look = 'box-caution') => h('div', { className: `box ${look}`, role: 'alert' }, h('strong', { className: 'box-word' }, word), h('div', {}, h('p', {}, text)));

// ---- what is known ----
export const state = { data: null, online: false, used: Date.now(), pin: null };
export const find = (list, id) => state.data[list].find(one => one.id === id);
export const placeName = id => find('places', id)?.name ?? 'a place';
export function clock(at) {
  const day = new Intl.DateTimeFormat('en-GB', { timeZone: state.data.zone, day: 'numeric', month: 'short' });
  const hour = new Intl.DateTimeFormat('en-GB', { timeZone: state.data.zone, hour: '2-digit', minute: '2-digit', hourCycle: 'h23' }).format(at);
  return day.format(at) === day.format(queue.houseNow().at) ? hour : `${day.format(at)} ${hour}`;
}
export function span(ms) {
  const minutes = Math.floor(Math.abs(ms) / 60000), hours = Math.floor(minutes / 60);
  if (minutes < 120) return `${minutes} min`;
  return hours < 48 ? `${hours} h${minutes % 60 ? ` ${minutes % 60} min` : ''}` : `${Math.floor(hours / 24)} days ${hours % 24} h`;
}
export const penOpen = () => state.data.pen.open && Date.now() - state.used < state.data.pen.lock_after_ms;
export const author = id => state.data.people.find(one => one.id === id);

// loads begun on this tablet whose start the server has not heard of yet
export async function ownLoads() {
  const starts = (await queue.list()).filter(entry => entry.kind === 'start' && entry.state !== 'stored');
  return starts.map(entry => {
    const body = JSON.parse(entry.body);
    return { id: { key: entry.key }, place: body.place, step: entry.shown.step, since: body.observed_at, own: true, subject: 'fish', limits: [],
      lots: body.portions.map(one => ({ id: one.lot, code: find('lots', one.lot)?.code ?? `${one.lot}` })), probes: ['fish 1', 'fish 2', 'fish 3'],
      instrument: null, looks: [], measures: [], last: {}, clocks: [], plans: [] };
  });
}
export async function loadOf(text) {
  if (text.startsWith('key:')) {
    const key = text.slice(4), stored = (await queue.list()).find(entry => entry.key === key);
    const known = stored?.answer?.load && find('loads', stored.answer.load);
    return known || (await ownLoads()).find(one => one.id.key === key);
  }
  return find('loads', Number(text));
}
export const loadHash = load => typeof load.id === 'object' ? `key:${load.id.key}` : load.id;
const codes = load => load.lots.map(one => one.code).join(', ');

// ---- storing: into the queue first, then to the server ----
async function store(entry, title) {
  const person = await who(entry.label);
  if (!person) return null;
  const key = await queue.put({ ...entry, person: person.id, pin: person.pin });
  sessionStorage.removeItem(draftName());
  queue.send();
  if (entry.kind === 'reading') go(`answer/${key}`);
  else await told(key, entry.label, title);
  return key;
}
// Who it was: the pen's own person, or a name and a PIN as the initials of this one entry.
export function who(label) {
  const { pen, people } = state.data;
  if (penOpen() && author(pen.person)) {
    if (state.online || !author(pen.person).pin) return { id: pen.person, pin: '' };
    if (state.pin?.id === pen.person) return state.pin;  // typed once since the network went; kept in no store
  }
  return new Promise(done => {
    const leave = () => { removeEventListener('hashchange', leave); done(null); };
    addEventListener('hashchange', leave);
    const finish = found => { removeEventListener('hashchange', leave); if (penOpen() && found.id === pen.person) state.pin = found; done(found); };
    const names = people.filter(one => one.pin);
    draw('Who?', label,
      names.length ? h('div', { className: 'names' }, names.map(one => button(h('span', {}, h('b', {}, one.initials), ` ${one.name}`), () => askPin(one, finish), 'button-name')))
        : notice('No PIN', 'Nobody here has chosen a PIN yet. Log in and choose one under “My PIN”.'),
      !names.length && penOpen() && button('Store it: it waits until the network is back', () => finish({ id: pen.person, pin: '' }), 'button-go'),
      h('div', { className: 'actions' }, button('Back: nothing is stored yet', () => { leave(); route(); }, 'button-quiet')));
  });
}
export function askPin(person, done, why = '') {
  let pin = '';
  const shown = h('output', { className: 'pin', 'aria-live': 'off' });
  const ready = button('Done', () => done({ id: person.id, pin }), 'button-go key-wide', { disabled: true });
  const show = () => {
    shown.textContent = '●'.repeat(pin.length) + '○'.repeat(Math.max(0, 4 - pin.length));
    shown.setAttribute('aria-label', `${pin.length} digits typed`);
    ready.disabled = pin.length < 4;
  };
  const type = key => {
    if (key === 'back') pin = pin.slice(0, -1); else if (/[0-9]/.test(key) && pin.length < 6) pin += key;
    show();
    if (pin.length === 6) done({ id: person.id, pin });
  };
  draw(person.name, 'Your PIN: it means your initials, no more.', why && notice('PIN', why),
    h('div', { className: 'pad-pin' }, shown, keys(type, ['1', '2', '3', '4', '5', '6', '7', '8', '9', 'back', '0'], ready)));
  listen(type, () => pin.length >= 4 && done({ id: person.id, pin }));
  show();
}
const NAMES = { back: 'Rub out', '-': 'Minus', '.': 'Point' }, FACES = { back: '⌫', '-': '−', '.': '.' };
function keys(type, which, ...more) {
  return h('div', { className: 'keys' }, which.map(key => h('button', { type: 'button', className: `pad-key key-${key === 'back' ? 'back' : key === '.' ? 'point' : key === '-' ? 'minus' : key}`, 'aria-label': NAMES[key] ?? key, onclick: () => type(key) }, FACES[key] ?? key)), more);
}
let unlisten = () => {};
function listen(type, enter) {
  unlisten();
  const heard = event => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest?.('input, textarea, select')) return;
    const key = { Backspace: 'back', ',': '.', '−': '-' }[event.key] ?? event.key;
    if (/^[0-9.-]$|^back$/.test(key)) { event.preventDefault(); type(key); }
    else if (event.key === 'Enter' && !event.target.closest?.('button, a, summary')) { event.preventDefault(); enter(); }
  };
  addEventListener('keydown', heard);
  unlisten = () => removeEventListener('keydown', heard);
}

// ---- the reading pad ----
const draftName = () => `draft ${location.hash}`;
const draft = () => JSON.parse(sessionStorage.getItem(draftName()) ?? 'null');

// subject: {load} or {place}; one figure, or a round over the load's fish; `fix` mends a refused entry
export function pad({ load = null, place, quantity = null, then = '', fix = null, count = '' }) {
  const { data } = state, fish = load && !quantity, spot = find('places', place);
  const temperature = !quantity, units = quantity ? quantity.units : ['F', 'C'];
  const typed = fix ? fix.body : null;
  const rows = (fish ? load.probes : ['']).map(probe => {
    const old = typed?.figures.find(one => one.probe === probe);
    return { probe, text: old?.as_read ?? '', confirmed: false };
  });
  const now = { at: 0, unit: typed?.figures[0]?.unit ?? (temperature ? data.unit : units[0]), ago: 0, moment: typed?.observed_at ?? null, late: typed?.late_reason ?? '', note: typed?.note ?? '',
    instrument: typed ? typed.figures[0]?.instrument ?? null : Number(localStorage.getItem(`thermometer ${place}`)) || load?.instrument || null };
  if (!fix) Object.assign(now, draft()?.now);
  if (!fix) draft()?.rows.forEach((row, index) => rows[index] && Object.assign(rows[index], row));
  if (now.at >= rows.length) now.at = 0;
  const limits = limitsOf(load, place, fish), label = `${spot.name}${fish ? ', the fish' : quantity ? `, ${quantity.quantity}` : ''}`;
  const observed = () => now.moment ?? queue.houseNow().at - now.ago * 60000;
  const isLate = () => queue.houseNow().at - observed() > data.rules.late_after_ms;
  const row = () => rows[now.at];
  const lastOf = probe => fish ? load.last[probe] : temperature ? spot.last : null;

  const tabs = h('div', { className: 'fish-tabs', role: 'group', 'aria-label': 'Fish of this round' });
  const face = h('output', { className: 'pad-figure', 'aria-live': 'polite', 'aria-atomic': 'true' });
  const says = h('div', { className: 'pad-says' }), asks = h('div', { className: 'pad-asks' });
  const nextKey = button('Next fish', () => next(), 'key-next'), storeKey = button('Store', () => save(), 'button-go key-store');
  const unitKey = button('', () => { now.unit = units[(units.indexOf(now.unit) + 1) % units.length]; show(); }, 'key-unit');

  function type(key) {
    const one = row();
    if (key === 'back') one.text = one.text.slice(0, -1);
    else if (key === '-') one.text = one.text.startsWith('−') ? one.text.slice(1) : `−${one.text}`;
    else if (key === '.') { if (!one.text.includes('.')) one.text += one.text.replace('−', '') ? '.' : '0.'; }
    else if (one.text.replace(/[−.]/g, '').length < 7) one.text += key;
    one.confirmed = false;
    asks.replaceChildren();
    show();
  }
  function show() {
    const one = row(), value = temperature && one.text ? ninths(one.text, now.unit) : null;
    face.textContent = one.text || '—';
    unitKey.textContent = temperature ? `°${now.unit}` : now.unit;
    unitKey.setAttribute('aria-label', `Unit ${temperature ? `degrees ${now.unit}` : now.unit}${units.length > 1 ? ', tap to change' : ''}`);
    unitKey.disabled = units.length < 2;
    tabs.replaceChildren(...(fish ? rows.map((each, index) => h('button', { type: 'button', className: 'fish-tab', 'aria-pressed': String(index === now.at), onclick: () => { now.at = index; show(); } }, h('span', {}, each.probe), h('b', {}, each.text || '—'))) : []));
    const judged = value === null ? [] : limits.filter(limit => limit.judge).map(limit => verdict(limit.judge, value, now.unit));
    const last = lastOf(one.probe);
    says.replaceChildren(...[
      judged.length > 0 && h('p', { className: 'provisional' }, said(['DEVIATION', 'ADJUST', 'MET'].find(word => judged.includes(word)), ''), ' provisional'),
      ...limits.slice(0, 1).map(limit => h('p', {}, `${limit.point}: ${limit.demand}`)),
      last && h('p', { className: 'quiet' }, `Last: ${last.text} at ${clock(last.at)} by ${last.by}`)].filter(Boolean));
    const more = fish && rows.some((each, index) => index !== now.at && !each.text);
    nextKey.hidden = !fish || rows.length < 2;
    nextKey.classList.toggle('button-go', Boolean(more && one.text));
    storeKey.classList.toggle('button-go', !(more && one.text));
    if (!fix) sessionStorage.setItem(draftName(), JSON.stringify({ now, rows }));
  }
  function wrong(one) {
    if (!temperature) return /^−?[0-9]*\.?[0-9]+$|^−?[0-9]+\.$/.test(one.text) ? null : { kind: 'unreadable' };
    if (ninths(one.text, now.unit) === null) return { kind: 'unreadable' };
    if (one.confirmed) return null;
    return doubt({ text: one.text, unit: now.unit, likely: spot.likely[fish ? 'fish' : 'place'], possible: data.rules.possible, last: lastOf(one.probe), slip: data.rules.slip, now: queue.houseNow().at });
  }
  // asks about the figure in place; true where nothing speaks against it
  function sure(index, onward) {
    const one = rows[index], found = wrong(one);
    if (!found) return true;
    now.at = index; show();
    const reads = `${one.text} ${temperature ? `°${now.unit}` : now.unit}`, unit = temperature ? ` °${now.unit}` : '';
    const words = { unreadable: `“${one.text}” is not a figure. Type it as the thermometer shows it.`, impossible: `${reads}: no fish or oven can have this.`,
      unlikely: `${reads} is unlikely here. Look again.`, slip: `${reads} is far from the last reading. Look again.` }[found.kind];
    const first = button(`${found.meant}${unit} was meant`, () => { one.text = found.meant; asks.replaceChildren(); show(); onward(); }, 'button-go');
    asks.replaceChildren(h('div', { className: 'box box-caution', role: 'alertdialog', 'aria-label': 'Is it so?' }, h('strong', { className: 'box-word' }, 'Is it so?'),
      h('div', {}, h('p', {}, words), h('div', { className: 'actions' }, found.meant && first,
        (found.kind === 'unlikely' || found.kind === 'slip') && button(`It does read ${reads}`, () => { one.confirmed = true; asks.replaceChildren(); onward(); }),
        button('Type it again', () => { one.text = ''; asks.replaceChildren(); show(); }, 'button-quiet')))));
    asks.querySelector('button').focus();
    return false;
  }
  function next() {
    if (row().text && !sure(now.at, next)) return;
    const free = rows.findIndex((each, index) => index > now.at && !each.text);
    now.at = free >= 0 ? free : (now.at + 1) % rows.length;
    show();
  }
  async function save() {
    const filled = rows.filter(one => one.text);
    if (!filled.length) { asks.replaceChildren(notice('Type first', 'Type the figure, then store it.')); return; }
    if (rows.some((one, index) => one.text && !sure(index, save))) return;
    if (isLate() && !now.late.trim()) { earlier.open = true; drawWhen(); asks.replaceChildren(notice('Late', `This was read more than ${span(data.rules.late_after_ms)} ago. Say why it comes late.`)); earlier.scrollIntoView(); return; }
    const body = { place, load: load && (fish || quantity) ? load.id : null, observed_at: observed(), late_reason: isLate() ? now.late : '', note: now.note,
      figures: filled.map(one => ({ as_read: one.text.replace('−', '-'), unit: now.unit, probe: one.probe, quantity: quantity?.quantity ?? 'temperature', instrument: now.instrument, confirmed: one.confirmed || !!fix?.unlikely })) };
    const found = temperature ? limits.filter(limit => limit.judge).flatMap(limit => filled.map(one => [verdict(limit.judge, ninths(one.text, now.unit), now.unit), limit])) : [];
    const order = ['MET', 'ADJUST', 'DEVIATION'], worst = found.sort((a, b) => order.indexOf(b[0]) - order.indexOf(a[0]))[0];
    const shown = { figures: filled.map(one => ({ probe: one.probe, text: `${one.text} ${temperature ? `°${now.unit}` : now.unit}` })), where: label, verdict: worst?.[0] ?? null, point: worst?.[1].point ?? '', demand: worst?.[1].demand ?? '',
      action: worst?.[0] === 'DEVIATION' || worst?.[0] === 'ADJUST' ? worst[1].action : '', load: load?.id ?? null, place, then };
    const words = `${label}: ${shown.figures.map(one => `${one.probe} ${one.text}`.trim()).join(', ')}, read ${clock(body.observed_at)}`;
    if (now.instrument) localStorage.setItem(`thermometer ${place}`, now.instrument);
    if (fix) return fix.done(body, words, shown);
    const key = await store({ kind: 'reading', body, label: words, shown });
    if (key && temperature) remember(body);
    return key;
  }
  // the next figure is held against this one at once, with network or without
  function remember(body) {
    for (const one of body.figures) {
      const last = { value: ninths(one.as_read, one.unit), text: `${one.as_read.replace('-', '−')} °${one.unit}`, at: body.observed_at, by: author(state.data.pen.person)?.initials ?? '' };
      if (fish) load.last[one.probe] = last; else spot.last = last;
    }
  }
  const earlier = h('details', { className: 'aside' });
  function drawWhen() {
    const step = (words, minutes) => button(words, () => { now.moment = null; now.ago = minutes === 0 ? 0 : Math.max(0, now.ago + minutes); drawWhen(); show(); }, 'button-quiet');
    const why = h('input', { type: 'text', id: 'why-late', maxLength: 300, value: now.late, oninput: event => { now.late = event.target.value; show(); } });
    const reasons = ['Hands were full', 'The tablet was elsewhere', 'It was noted on paper first'].map(words => button(words, () => { now.late = words; drawWhen(); show(); }, 'button-quiet'));
    earlier.replaceChildren(h('summary', {}, now.ago || now.moment ? `Read at ${clock(observed())}` : 'Read earlier, thermometer, note'),
      h('p', { className: 'when' }, `Read at ${clock(observed())}${now.ago ? `, ${span(now.ago * 60000)} ago` : now.moment ? '' : ' (now)'}`),
      h('div', { className: 'actions' }, step('−1 h', 60), step('−15 min', 15), step('−5 min', 5), step('−1 min', 1), step('+1 min', -1), step('Now', 0)),
      isLate() && h('div', { className: 'field' }, h('label', { className: 'label', htmlFor: 'why-late' }, 'Why it comes late'), why, h('div', { className: 'actions' }, reasons)),
      temperature && h('div', { className: 'field' }, h('label', { className: 'label', htmlFor: 'with-what' }, 'Thermometer'),
        h('select', { id: 'with-what', onchange: event => { now.instrument = Number(event.target.value) || null; show(); } }, h('option', { value: '' }, 'not named'), data.instruments.map(one => h('option', { value: one.id, selected: one.id === now.instrument }, one.name)))),
      h('div', { className: 'field' }, h('label', { className: 'label', htmlFor: 'a-note' }, 'Note'), h('input', { type: 'text', id: 'a-note', maxLength: 400, value: now.note, oninput: event => { now.note = event.target.value; show(); } })));
  }
  drawWhen();
  const title = load ? `${spot.name}` : spot.name, under = load ? `${load.step}: ${codes(load)}${quantity ? ` · ${quantity.quantity}` : fish ? ' · inside the fish, the thickest part' : ''}` : `The place itself${spot.lots.length ? `, for ${spot.lots.join(', ')}` : ''}`;
  draw(`${title}${count}`, under,
    h('div', { className: 'pad' },
      h('div', { className: 'pad-left' }, tabs, h('div', { className: 'pad-face' }, face, unitKey), says, asks),
      h('div', { className: 'pad-right' }, keys(type, ['7', '8', '9', '4', '5', '6', '1', '2', '3', '-', '0', '.']),
        h('div', { className: 'pad-keys-more' }, h('button', { type: 'button', className: 'pad-key key-back', 'aria-label': 'Rub out', onclick: () => type('back') }, '⌫'), nextKey, storeKey)),
      earlier),
    h('div', { className: 'actions' }, back('Back to the shift'), load && !load.own && button('More of this load', () => go(`load/${loadHash(load)}`), 'button-quiet')));
  listen(type, () => { if (fish && row().text && rows.some((each, index) => index > now.at && !each.text)) next(); else save(); });
  show();
  if (fix?.why) asks.replaceChildren(notice('Refused', fix.why, 'box-refusal'));
}
function limitsOf(load, place, fish) {
  if (load) return load.limits.filter(limit => limit.of === (fish ? 'fish' : 'place'));
  const spot = find('places', place);
  const here = state.data.loads.filter(one => one.place === place || find('places', one.place)?.within === spot.id);
  const found = here.flatMap(one => one.limits.filter(limit => limit.of === (one.place === place ? 'place' : 'room')));
  return [...new Map(found.map(limit => [limit.point + limit.demand, limit])).values()];
}

// ---- what it showed ----
export async function answer(key) {
  const entry = (await queue.list()).find(one => one.key === key);
  if (!entry) return go('');
  const shown = entry.shown ?? {}, known = entry.answer, value = known ? known.verdict : shown.verdict;
  const late = entry.state === 'refused' ? 'Not taken yet' : known ? 'Stored' : 'Kept on this tablet; it waits to be sent';
  const acts = known ? known.do : shown.action ? [{ point: shown.point, action: shown.action }] : [];
  const must = value === 'DEVIATION' && !entry.seen;
  const done = async to => { if (must) await queue.saw(key); go(to); };
  const onward = shown.then;
  draw(shown.where ?? entry.label, `${late}, ${clock(entry.entered_at)}`,
    entry.state === 'refused' && notice('Refused', Object.values(entry.fields).join(' '), 'box-refusal'),
    entry.needs && notice('Waits', entry.why || 'It waits for the PIN.'),
    h('section', { className: `answer answer-${(value ?? 'none').toLowerCase()}`, 'aria-live': 'polite' },
      h('div', { className: shown.figures?.length > 1 ? 'round round-many' : 'round' }, (shown.figures ?? []).map(one => h('div', {}, one.probe && h('p', { className: 'figure-of' }, one.probe), h('p', { className: 'figure' }, one.text)))),
      value ? h('p', { className: 'pad-verdict' }, said(value), !known && ' provisional') : h('p', {}, known?.said || 'The verdict comes with the server’s answer.'),
      (known?.figure || known?.demand || shown.demand) && h('p', { className: 'limit' }, [known?.figure, (known?.demand || shown.demand) && `Limit: ${known?.demand || shown.demand}`].filter(Boolean).join('. ')),
      known?.why && h('p', {}, `${known.why[0].toUpperCase()}${known.why.slice(1)}.`),
      acts.map(one => h('div', { className: 'do' }, h('h2', {}, `What the plan says to do: ${one.point}`), h('p', {}, one.action))),
      h('div', { className: 'actions' },
        entry.state === 'refused' && button('Put it right', () => go(`mend/${key}`), 'button-go'),
        must ? button('I have read this', () => done(onward), 'button-go button-wide') : button(onward ? 'Next place' : 'Back to the shift', () => done(onward), 'button-go button-wide'),
        known?.deviations?.map(one => h('a', { className: 'button', href: one.page }, `Deviation ${one.id}, lot ${one.lot}`)),
        known?.page && h('a', { className: 'button button-quiet', href: known.page }, 'All that it says'))));
}
async function told(key, label, title) {
  await new Promise(done => setTimeout(done, 250));
  const entry = (await queue.list()).find(one => one.key === key);
  if (entry?.state === 'refused') return go(`answer/${key}`);
  draw(title, label, notice(entry?.answer ? 'Stored' : 'Kept', entry?.answer?.said ?? 'Kept on this tablet; it is sent as soon as the server can be reached.', 'box-stored'),
    h('div', { className: 'actions' }, button('Back to the shift', () => go(''), 'button-go button-wide'), entry?.answer?.page && h('a', { className: 'button button-quiet', href: entry.answer.page }, 'Look at it')));
}

// ---- one load, and what else is entered of it ----
export async function load(text) {
  const one = await loadOf(text);
  if (!one) return gone();
  const waits = (await queue.list()).filter(entry => entry.state !== 'stored' && sameLoad(entry, one));
  const acts = h('div', { className: 'actions' }, button('Read the fish', () => go(`read/load/${text}`), one.subject === 'fish' ? 'button-go' : ''),
    button(`Read ${placeName(one.place)}`, () => go(`read/place/${one.place}`), one.subject === 'place' ? 'button-go' : ''),
    find('places', one.place)?.within && button(`Read ${placeName(find('places', one.place).within)}`, () => go(`read/place/${find('places', one.place).within}`)),
    (one.looks.length > 0 || one.own) && button('Look for', () => go(`look/${text}`)),
    one.measures.map((what, index) => button(`Measure: ${what.quantity}`, () => go(`measure/${text}/${index}`))),
    button('Write a note', () => go(`note/${text}`)), button('End the load', () => go(`end/${text}`)));
  draw(placeName(one.place), `${one.step}, since ${clock(one.since)}: ${span(queue.houseNow().at - one.since)}`,
    waits.length > 0 && notice('Waiting', `${waits.length} ${waits.length > 1 ? 'entries wait' : 'entry waits'} on this tablet.`),
    sheet(h('h2', {}, 'Lots'), h('p', {}, one.lots.map(lot => lot.code).join(', ')), acts),
    one.clocks.length > 0 && sheet(h('h2', {}, 'Time'), one.clocks.map(clockLine)),
    sheet(h('h2', {}, 'Limits'), one.own ? h('p', {}, 'This load began on this tablet; its limits come with the server’s answer.') : one.limits.map(limit => h('div', { className: 'limit-row' }, said(limit.verdict, ''), h('div', {}, h('p', {}, h('b', {}, limit.point), `: ${limit.demand}`), limit.operating && h('p', { className: 'small' }, `Operating limit: ${limit.operating}`), h('p', { className: 'small' }, limit.figure))))),
    one.limits.length > 0 && sheet(h('h2', {}, 'What the plan says to do when a limit is not met'), [...new Map(one.limits.map(limit => [limit.point, limit.action]))].map(([point, action]) => h('p', {}, h('b', {}, point), `: ${action}`))),
    h('div', { className: 'actions' }, back('Back to the shift'), one.plans.map(id => button('The plan', () => go(`plan/${id}`), 'button-quiet')), !one.own && h('a', { className: 'button button-quiet', href: `/loads/${one.id}/` }, 'Its page, with every reading')));
}
export const sameLoad = (entry, load) => {
  const said = JSON.parse(entry.body).load;
  return said != null && (typeof said === 'object' ? said.key === load.id?.key : said === load.id);
};
export function clockLine(one) {
  const left = one.at - queue.houseNow().at, over = left < 0;
  const words = { 'at most': over ? `over by ${span(left)}` : `${span(left)} left`, 'at least': over ? 'long enough' : `still ${span(left)}`, from: over ? `since ${clock(one.at)}` : `in ${span(left)}`, due: over ? `overdue by ${span(left)}` : `in ${span(left)}` }[one.kind];
  return h('p', { className: `clock-line${over && one.kind === 'at most' ? ' clock-over' : ''}` }, h('b', {}, words), ` (${clock(one.at)}) `, one.label);
}
const gone = () => draw('Not here', 'This is not in the house any more, or this tablet has not heard of it yet.', h('div', { className: 'actions' }, back('Back to the shift')));

function form(title, under, fields, words, save, fix) {
  const asks = h('div', {}), node = h('form', { className: 'sheet', noValidate: true, onsubmit: event => { event.preventDefault(); save(problem => asks.replaceChildren(notice('Not yet', problem))); } },
    fields, asks, h('div', { className: 'actions' }, h('button', { type: 'submit', className: 'button button-go button-wide' }, words)));
  unlisten();
  draw(title, under, fix?.why && notice('Refused', fix.why, 'box-refusal'), node, h('div', { className: 'actions' }, back('Back to the shift')));
}
const field = (id, words, node, help) => h('div', { className: 'field' }, h('label', { className: 'label', htmlFor: id }, words), help && h('p', { className: 'help' }, help), node);
// when it was, by buttons; and why it comes late
function moment(start) {
  const now = { ago: 0, fixed: start?.observed_at ?? null, late: start?.late_reason ?? '' }, node = h('div', { className: 'field' });
  const at = () => now.fixed ?? queue.houseNow().at - now.ago * 60000, late = () => queue.houseNow().at - at() > state.data.rules.late_after_ms;
  const step = (words, minutes) => button(words, () => { now.fixed = null; now.ago = minutes ? Math.max(0, now.ago + minutes) : 0; show(); }, 'button-quiet');
  function show() {
    node.replaceChildren(...[h('p', { className: 'when' }, `At ${clock(at())}${now.ago ? `, ${span(now.ago * 60000)} ago` : now.fixed ? '' : ' (now)'}`), h('div', { className: 'actions' }, step('−1 h', 60), step('−15 min', 15), step('−5 min', 5), step('−1 min', 1), step('Now', 0)),
      late() && field('why-late', 'Why it comes late', h('input', { type: 'text', id: 'why-late', maxLength: 300, value: now.late, oninput: event => { now.late = event.target.value; } }))].filter(Boolean));
  }
  show();
  return { node, body: () => ({ observed_at: at(), late_reason: late() ? now.late : '' }), problem: () => late() && !now.late.trim() ? `This was more than ${span(state.data.rules.late_after_ms)} ago. Say why it comes late.` : '', show };
}
async function finish(kind, body, label, title, when, ask, fix, shown = null) {
  const late = when?.problem();
  if (late) { when.show(); return ask(late); }
  if (fix) return fix.done(body, label, shown);
  return store({ kind, body, label, shown }, title);
}
export async function look(text, fix) {
  const one = await loadOf(text);
  if (!one) return gone();
  const asked = one.looks.length ? one.looks : fix ? fix.body.looks.map(row => row.what) : [], answers = new Map((fix?.body.looks ?? []).map(row => [row.what, row.found])), when = moment(fix?.body);
  const other = h('input', { type: 'text', id: 'other', maxLength: 200 }), note = h('input', { type: 'text', id: 'a-note', maxLength: 400, value: fix?.body.note ?? '' });
  const choice = what => h('fieldset', { className: 'field' }, h('legend', { className: 'label' }, `${what[0].toUpperCase()}${what.slice(1)}`), h('div', { className: 'choices choices-inline' }, [['yes, found so', true], ['no', false]].map(([words, value]) =>
    h('label', { className: 'tick' }, h('input', { type: 'radio', name: what, checked: answers.get(what) === value, onchange: () => answers.set(what, value) }), h('span', {}, words)))));
  form('Look for', `${placeName(one.place)}, ${one.step}`, [asked.map(choice), field('other', 'Something else, found so', other), field('a-note', 'Note', note), when.node], 'Store what was seen', ask => {
    const looks = [...answers].map(([what, found]) => ({ what, found }));
    if (other.value.trim()) looks.push({ what: other.value.trim(), found: true });
    if (!looks.length) return ask('Answer yes or no to at least one.');
    return finish('look', { load: one.id, looks, note: note.value, ...when.body() }, `${placeName(one.place)}: ${looks.map(row => `${row.what}: ${row.found ? 'yes' : 'no'}`).join('; ')}`, 'Looked for', when, ask, fix);
  }, fix);
}
export async function note(text, fix) {
  const one = text ? await loadOf(text) : null, words = h('textarea', { id: 'text', maxLength: 2000, value: fix?.body.text ?? '' });
  form('Write a note', one ? `${placeName(one.place)}, ${one.step}` : 'About the house', field('text', 'Note', words), 'Store the note', ask => {
    if (!words.value.trim()) return ask('Write the note.');
    return finish('note', { load: one?.id ?? null, lot: null, text: words.value, observed_at: queue.houseNow().at }, `Note: ${words.value.slice(0, 60)}`, 'Note', null, ask, fix);
  }, fix);
}
export async function end(text, fix) {
  const one = await loadOf(text);
  if (!one) return gone();
  const when = moment(fix?.body), open = one.limits.filter(limit => limit.verdict === 'PENDING' || limit.verdict === 'DEVIATION');
  form('End the load', `${placeName(one.place)}, ${one.step}: ${codes(one)}`, [open.length > 0 && notice('Not yet shown', `What the readings do not show when the load ends is a deviation: ${open.map(limit => `${limit.point} (${limit.figure})`).join('; ')}.`), when.node], 'End the load',
    ask => finish('end', { load: one.id, note: '', ...when.body() }, `${placeName(one.place)}: the load ended`, 'Ended', when, ask, fix), fix);
}
const weigh = grams => state.data.weight_unit === 'lb' ? `${Math.floor(grams / 4.5359237) / 100}` : `${grams / 1000}`;
const grams = text => Math.round(Number(text.replace(',', '.')) * (state.data.weight_unit === 'lb' ? 453.59237 : 1000));
export function start(fix) {
  const { lots, places } = state.data, steps = new Map();
  for (const lot of lots) for (const step of lot.steps) {
    const one = steps.get(`${step.kind}|${step.id}`) ?? { ...step, lots: [], first: false };
    one.lots.push(lot); one.first ||= step.next; steps.set(`${step.kind}|${step.id}`, one);
  }
  const choose = (title, under, rows) => { unlisten(); draw(title, under, h('div', { className: 'names' }, rows), h('div', { className: 'actions' }, back('Back to the shift'))); };
  const inOrder = [...steps.values()].sort((a, b) => Number(b.first) - Number(a.first));
  choose('Start a load', inOrder.length ? 'Which step?' : 'No lot in the house is free for a step.', inOrder.map(step => button(h('span', {}, step.name, step.first && h('small', {}, ` next for ${step.lots.filter(lot => lot.steps.some(each => each.id === step.id && each.next)).map(lot => lot.code).join(', ')}`)), () => where(step), step.first ? 'button-name button-first' : 'button-name')));
  function where(step) {
    const held = id => state.data.loads.some(load => load.place === id) && ['smokehouse', 'brine tank'].includes(find('places', id).kind);
    choose(step.name, 'Where?', places.filter(place => !step.place_kind || place.kind === step.place_kind).map(place => button(h('span', {}, place.name, held(place.id) && h('small', {}, ' holds a load now')), () => what(step, place), 'button-name')));
  }
  function what(step, place) {
    const when = moment(), rows = step.lots.map(lot => {
      const next = lot.steps.some(each => each.id === step.id && each.next);
      return { lot, tick: h('input', { type: 'checkbox', checked: next && step.lots.length === 1 || next, 'aria-label': `Lot ${lot.code}` }), weight: h('input', { type: 'text', inputMode: 'decimal', value: weigh(lot.free_g), id: `w${lot.id}` }) };
    });
    form(`${step.name}, ${place.name}`, 'Which lots, and how much of each?', [rows.map(({ lot, tick, weight }) => h('div', { className: 'lot-row' }, h('label', { className: 'tick' }, tick, h('span', {}, `${lot.code}, ${lot.product}`)), field(`w${lot.id}`, `${state.data.weight_unit}, of ${weigh(lot.free_g)}`, weight))), when.node], 'Start the load', ask => {
      const portions = rows.filter(row => row.tick.checked).map(({ lot, weight }) => ({ lot: lot.id, step: step.id, grams: weight.value === weigh(lot.free_g) ? lot.free_g : grams(weight.value) }));
      if (!portions.length) return ask('Choose at least one lot.');
      const wrong = portions.find(one => !(one.grams > 0) || one.grams > find('lots', one.lot).free_g);
      if (wrong) return ask(`Lot ${find('lots', wrong.lot).code}: type a weight, at most ${weigh(find('lots', wrong.lot).free_g)} ${state.data.weight_unit}.`);
      return finish('start', { place: place.id, portions, note: '', ...when.body() }, `${step.name} in ${place.name}: ${portions.map(one => find('lots', one.lot).code).join(', ')}`, 'Begun', when, ask, null, { step: step.name, place: place.id });
    }, fix);
  }
}
export function lots() {
  unlisten();
  const { data } = state;
  draw('Lots in hand', 'Lots with fish that stands in no load.', data.lots.map(lot => sheet(h('h2', {}, lot.code), h('p', {}, `${lot.product}: ${weigh(lot.free_g)} ${data.weight_unit} free`), h('p', {}, `Next: ${lot.steps.filter(step => step.next).map(step => step.name).join(', ') || 'nothing that its plan requires'}`),
    h('div', { className: 'actions' }, button('Start a load', () => go('start')), !lot.finished && button('Finish the lot', () => go(`finish/${lot.id}`)), h('a', { className: 'button button-quiet', href: `/lots/${lot.code}/` }, 'Its page')))),
    data.plans.map(one => h('div', { className: 'actions' }, button(`Plan: ${one.title}`, () => go(`plan/${one.id}`), 'button-quiet'))), h('div', { className: 'actions' }, back('Back to the shift')));
}
export function finishLot(id, fix) {
  const lot = find('lots', Number(id));
  if (!lot) return gone();
  const when = moment(fix?.body), packed = h('input', { type: 'text', inputMode: 'decimal', id: 'packed', value: fix ? weigh(fix.body.packed_g) : '' }), packs = h('input', { type: 'text', inputMode: 'numeric', id: 'packs', value: fix?.body.packs ?? '' });
  form(`Finish lot ${lot.code}`, 'Processing is over: what came out.', [field('packed', `Packed, ${state.data.weight_unit}`, packed), field('packs', 'Packs', packs), when.node], 'Finish the lot', ask => {
    const weight = grams(packed.value), count = Number(packs.value);
    if (!(weight > 0)) return ask('Type how much was packed.');
    if (!Number.isInteger(count) || count < 0) return ask('Type how many packs.');
    return finish('finish', { lot: lot.id, packed_g: weight, packs: count, note: '', ...when.body() }, `Lot ${lot.code} finished: ${packed.value} ${state.data.weight_unit}, ${count} packs`, 'Finished', when, ask, fix);
  }, fix);
}
export function plan(id) {
  const one = find('plans', Number(id));
  unlisten();
  if (!one) return gone();
  draw('The plan', one.title, one.points.map(point => sheet(h('h2', {}, point.name), h('p', {}, `At: ${point.step}`), h('ul', {}, point.limits.map(text => h('li', {}, text))), h('p', {}, h('b', {}, 'When a limit is not met: '), point.action))), h('div', { className: 'actions' }, back('Back to the shift')));
}

// ---- what waits ----
export async function waitingPage() {
  unlisten();
  const all = await queue.list(), open = all.filter(entry => entry.state !== 'stored'), sent = all.filter(entry => entry.state === 'stored').slice(-20).reverse();
  const row = entry => h('li', { className: 'queued' }, h('p', {}, h('b', {}, entry.label), `, entered ${clock(entry.entered_at)} by ${author(entry.person)?.initials ?? '?'}`),
    entry.state === 'refused' ? h('div', {}, notice('Refused', Object.values(entry.fields ?? {}).join(' '), 'box-refusal'), h('div', { className: 'actions' }, button('Put it right', () => go(`mend/${entry.key}`), 'button-go'), button('Set it down as a note', async () => { const one = await who(`Note of: ${entry.label}`); if (one) { await queue.intoNote(entry.key, one.id, one.pin); await queue.send(); } go('waiting'); route(); })))
      : entry.needs ? h('div', {}, h('p', {}, entry.why), entry.needs !== 'right' && h('div', { className: 'actions' }, button('Type the PIN again', () => askPin(author(entry.person) ?? { id: entry.person, name: 'The PIN again' }, async ({ id, pin }) => { await queue.retype(id, pin); await queue.send(); go('waiting'); route(); }, entry.why))))
        : h('p', { className: 'small' }, 'Waits to be sent.'));
  draw(open.length ? `${open.length} ${open.length > 1 ? 'entries wait' : 'entry waits'}` : 'Nothing waits', state.online ? 'The server can be reached.' : 'The server cannot be reached now. What is entered stays on this tablet until it can.',
    open.length > 0 && sheet(h('ol', { className: 'plain' }, open.map(row)), h('div', { className: 'actions' }, button('Send now', async () => { await queue.send(); route(); }, 'button-go'))),
    sent.length > 0 && sheet(h('h2', {}, 'Sent lately'), h('ul', { className: 'plain' }, sent.map(entry => h('li', {}, `${entry.label}: ${entry.answer?.verdict ? WORDS[entry.answer.verdict] : 'stored'}`)))),
    h('div', { className: 'actions' }, back('Back to the shift')));
}
// A refused entry in its own form again, with all that was typed.
export async function mend(key) {
  const entry = (await queue.list()).find(one => one.key === key);
  if (entry?.state !== 'refused') return go('waiting');
  const body = JSON.parse(entry.body), named = typeof body.load === 'object' ? body.load && `key:${body.load.key}` : body.load && `${body.load}`;
  const fix = { body, why: Object.values(entry.fields ?? {}).join(' '), unlikely: entry.unlikely, done: async changed => {
    const one = await who(entry.label);
    if (!one) return;
    await queue.mend(key, { ...changed, settled: 'observed_at' in (entry.fields ?? {}) }, one.pin, one.id);
    queue.send();
    go(entry.kind === 'reading' ? `answer/${key}` : 'waiting');
  } };
  if (entry.kind === 'reading') {
    const load = named ? await loadOf(named) : null, what = body.figures[0]?.quantity;
    return pad({ load, place: body.place, quantity: what && what !== 'temperature' ? load?.measures.find(one => one.quantity === what) ?? { quantity: what, units: [body.figures[0].unit] } : null, fix });
  }
  return { look: () => look(named, fix), end: () => end(named, fix), note: () => note(named ?? '', fix), finish: () => finishLot(body.lot, fix), start: () => start(fix) }[entry.kind]();
}

// ---- which page ----
export async function route() {
  unlisten();
  const [name, ...rest] = decodeURIComponent(location.hash.slice(1)).split('/'), tail = rest.join('/');
  const board = !name || !(name in PAGES);
  document.getElementById('board-view').hidden = !board;
  document.getElementById('beside').hidden = board;
  document.body.classList.toggle('at-pad', !board);
  scrollTo(0, 0);
  if (!board) await PAGES[name](tail);
}
async function read(tail) {
  const [what, id] = tail.split('/');
  if (what === 'place') return find('places', Number(id)) ? pad({ place: Number(id) }) : gone();
  const one = await loadOf(id);
  return one ? pad({ load: one, place: one.place }) : gone();
}
function round(tail) {
  const due = state.data.round, at = Math.min(Number(tail) || 0, due.length - 1);
  if (!due.length) return gone();
  return pad({ place: due[at].place, then: at + 1 < due.length ? `round/${at + 1}` : '', count: `, ${at + 1} of ${due.length}` });
}
async function measure(tail) {
  const [id, index] = tail.split('/'), one = await loadOf(id);
  return one?.measures[Number(index)] ? pad({ load: one, place: one.place, quantity: one.measures[Number(index)] }) : gone();
}
const PAGES = { read, round, measure, load, look, note, end, start: () => start(), lots, finish: finishLot, plan, answer, waiting: waitingPage, mend };
