// What a reading is entered with: the pad, who it was, what it showed; and what all pages beside the smoker are
// drawn with.  Each is drawn into #beside from the tablet's own copy of the data, so that all of them work without
// network.
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
export const button = (words, onclick, look = '', more = {}) =>
  h('button', { type: 'button', className: `button ${look}`, onclick, ...more }, words);
export const back = (words = 'Back', to = '') => button(words, () => go(to), 'button-quiet');
export const go = hash => {
  location.hash = hash;
};
export const WORDS = {
  MET: 'within limits',
  ADJUST: 'adjust process',
  PENDING: 'not yet shown',
  DEVIATION: 'deviation',
};
// what this tablet cannot draw is left out, and is not drawn as a word
const fill = (node, ...children) => node.replaceChildren(...children.flat().filter(Boolean));
const MEANS = {
  MET: 'Every limit that looks at this held.',
  ADJUST: 'An operating limit is passed; the critical limit holds. Adjust the process.',
  PENDING: 'The readings do not show it yet. Go on, and keep reading.',
  DEVIATION: 'A critical limit was not met.',
};
const PROVISIONAL = {
  MET: 'Inside the limits that this tablet can check by itself; the rest is checked when the server answers.',
  ADJUST: 'An operating limit is passed, as far as this tablet can check.',
  DEVIATION: 'A critical limit is not met, as far as this tablet can check.',
};
export function said(value, look = 'verdict-big') {
  const found = document.querySelector(`#shapes [data-verdict="${value}"] svg`);
  return h(
    'span',
    { className: `verdict verdict-${value.toLowerCase()} ${look}` },
    found?.cloneNode(true),
    h('span', {}, WORDS[value]),
  );
}
export function draw(title, under, ...children) {
  const box = document.getElementById('beside');
  const heading = h('h1', { tabIndex: -1 }, title);
  box.replaceChildren(
    h(
      'div',
      { className: 'beside-head' },
      h('div', {}, heading, under && h('p', { className: 'under' }, under)),
    ),
    ...children.flat().filter(Boolean),
  );
  heading.focus();
  return box;
}
export const sheet = (...children) => h('section', { className: 'sheet' }, children);
export const notice = (word, text, look = 'box-caution') =>
  h(
    'div',
    { className: `box ${look}`, role: 'alert' },
    h('strong', { className: 'box-word' }, word),
    h('div', {}, h('p', {}, text)),
  );

// ---- what is known ----
// data: what the server said last; used: when a hand was here last; pin: typed since the network went, kept in
// no store; again: draws the present page anew
export const state = { data: null, online: false, used: Date.now(), pin: null, again: () => {} };
export const find = (list, id) => state.data[list].find(one => one.id === id);
export const placeName = id => find('places', id)?.name ?? 'a place';
export function clock(at) {
  const day = new Intl.DateTimeFormat('en-GB', { timeZone: state.data.zone, day: 'numeric', month: 'short' });
  const hour = new Intl.DateTimeFormat('en-GB', {
    timeZone: state.data.zone,
    hour: '2-digit',
    minute: '2-digit',
    hourCycle: 'h23',
  }).format(at);
  return day.format(at) === day.format(queue.houseNow().at) ? hour : `${day.format(at)} ${hour}`;
}
export function span(ms) {
  const minutes = Math.floor(Math.abs(ms) / 60000),
    hours = Math.floor(minutes / 60);
  if (minutes < 120) return `${minutes} min`;
  return hours < 48
    ? `${hours} h${minutes % 60 ? ` ${minutes % 60} min` : ''}`
    : `${Math.floor(hours / 24)} days ${hours % 24} h`;
}
export const penOpen = () => state.data.pen.open && Date.now() - state.used < state.data.pen.lock_after_ms;
export const author = id => state.data.people.find(one => one.id === id);

// loads begun on this tablet whose start the server has not heard of yet
export async function ownLoads() {
  const starts = (await queue.list()).filter(entry => entry.kind === 'start' && entry.state !== 'stored');
  return starts.map(entry => {
    const body = JSON.parse(entry.body);
    return {
      id: { key: entry.key },
      place: body.place,
      step: entry.shown.step,
      since: body.observed_at,
      own: true,
      subject: 'fish',
      limits: [],
      lots: body.portions.map(one => ({ id: one.lot, code: find('lots', one.lot)?.code ?? `${one.lot}` })),
      probes: ['fish 1', 'fish 2', 'fish 3'],
      instrument: null,
      looks: [],
      measures: [],
      last: {},
      clocks: [],
      plans: [],
    };
  });
}
export async function loadOf(text) {
  if (text.startsWith('key:')) {
    const key = text.slice(4),
      stored = (await queue.list()).find(entry => entry.key === key);
    const known = stored?.answer?.load && find('loads', stored.answer.load);
    return known || (await ownLoads()).find(one => one.id.key === key);
  }
  return find('loads', Number(text));
}
export const loadHash = load => (typeof load.id === 'object' ? `key:${load.id.key}` : load.id);
export const codes = load =>
  load.lots.map(one => (one.species ? `${one.code} ${one.species.toLowerCase()}` : one.code)).join(', ');

// ---- storing: into the queue first, then to the server ----
export async function store(entry, title) {
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
    if (state.pin?.id === pen.person) return state.pin; // typed once since the network went; kept in no store
  }
  return new Promise(done => {
    const leave = () => {
      removeEventListener('hashchange', leave);
      done(null);
    };
    addEventListener('hashchange', leave);
    const finish = found => {
      removeEventListener('hashchange', leave);
      if (penOpen() && found.id === pen.person) state.pin = found;
      done(found);
    };
    const page = setAside();
    const back = () => {
      leave();
      page();
    };
    const names = people.filter(one => one.pin);
    draw(
      state.online ? 'Who is it?' : 'No network: who is it?',
      label,
      names.length
        ? h(
            'div',
            { className: 'names' },
            names.map(one =>
              button(
                h('span', {}, h('b', {}, one.initials), ` ${one.name}`),
                () => askPin(one, finish, '', label, back),
                'button-name',
              ),
            ),
          )
        : notice('No PIN', 'Nobody here has chosen a PIN yet. Log in and choose one under “My PIN”.'),
      !names.length &&
        penOpen() &&
        button(
          'Store it: it waits until the network is back',
          () => finish({ id: pen.person, pin: '' }),
          'button-go',
        ),
      h('div', { className: 'actions' }, button('Back: nothing is stored yet', back, 'button-quiet')),
    );
  });
}
// Puts the present page aside as it stands, with all that was typed; what is returned brings it back.
function setAside() {
  const box = document.getElementById('beside'),
    nodes = [...box.childNodes],
    keyboard = heard;
  quiet();
  return () => {
    box.replaceChildren(...nodes);
    if (keyboard) listen(keyboard.type, keyboard.enter);
    else quiet();
    box.querySelector('h1')?.focus();
  };
}
export function askPin(person, done, why = '', label = '', back = state.again) {
  let pin = '';
  const shown = h('output', { className: 'pin', 'aria-live': 'off' });
  const ready = button('Done', () => done({ id: person.id, pin }), 'button-go key-wide', { disabled: true });
  const show = () => {
    shown.textContent = '●'.repeat(pin.length) + '○'.repeat(Math.max(0, 4 - pin.length));
    shown.setAttribute('aria-label', `${pin.length} digits typed`);
    ready.disabled = pin.length < 4;
  };
  const type = key => {
    if (key === 'back') pin = pin.slice(0, -1);
    else if (/[0-9]/.test(key) && pin.length < 6) pin += key;
    show();
    if (pin.length === 6) done({ id: person.id, pin });
  };
  draw(
    person.name,
    label ? `Your PIN, as your initials of: ${label}` : 'Your PIN, as your initials.',
    why && notice('PIN', why),
    h(
      'div',
      { className: 'pad-pin' },
      shown,
      keys(type, ['7', '8', '9', '4', '5', '6', '1', '2', '3', 'back', '0'], ready),
    ),
    h(
      'div',
      { className: 'actions' },
      button('Back: nothing is stored yet', () => back(), 'button-quiet'),
    ),
  );
  listen(type, () => pin.length >= 4 && done({ id: person.id, pin }));
  show();
}
const NAMES = { back: 'Rub out', '-': 'Minus', '.': 'Point' },
  FACES = { back: '⌫', '-': '−', '.': '.' };
function keys(type, which, ...more) {
  return h(
    'div',
    { className: 'keys' },
    which.map(key =>
      h(
        'button',
        {
          type: 'button',
          className: `pad-key key-${key === 'back' ? 'back' : key === '.' ? 'point' : key === '-' ? 'minus' : key}`,
          'aria-label': NAMES[key] ?? key,
          onclick: () => type(key),
        },
        FACES[key] ?? key,
      ),
    ),
    more,
  );
}
let unlisten = () => {},
  heard = null; // what the keyboard does on the present page
export const quiet = () => {
  unlisten();
  heard = null;
};
function listen(type, enter) {
  quiet();
  const pressed = event => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest?.('input, textarea, select'))
      return;
    const key = { Backspace: 'back', ',': '.', '−': '-' }[event.key] ?? event.key;
    if (/^[0-9.-]$|^back$/.test(key)) {
      event.preventDefault();
      type(key);
    } else if (event.key === 'Enter' && !event.target.closest?.('button, a, summary')) {
      event.preventDefault();
      enter();
    }
  };
  addEventListener('keydown', pressed);
  unlisten = () => removeEventListener('keydown', pressed);
  heard = { type, enter };
}

// ---- the reading pad ----
const draftName = () => `draft ${location.hash}`;
const draft = () => JSON.parse(sessionStorage.getItem(draftName()) ?? 'null');

// subject: {load} or {place}; one figure, or a round over the load's fish; `fix` mends a refused entry
export function pad({ load = null, place, quantity = null, then = '', fix = null, count = '' }) {
  const { data } = state,
    fish = load && !quantity,
    spot = find('places', place);
  const temperature = !quantity,
    units = quantity ? quantity.units : ['F', 'C'];
  const typed = fix ? fix.body : null;
  const rows = (fish ? load.probes : ['']).map(probe => {
    const old = typed?.figures.find(one => one.probe === probe);
    return { probe, text: old?.as_read ?? '', confirmed: false };
  });
  const now = {
    at: 0,
    unit: typed?.figures[0]?.unit ?? (temperature ? data.unit : units[0]),
    ago: 0,
    moment: typed?.observed_at ?? null,
    late: typed?.late_reason ?? '',
    note: typed?.note ?? '',
    instrument: typed
      ? (typed.figures[0]?.instrument ?? null)
      : Number(localStorage.getItem(`thermometer ${place}`)) || load?.instrument || null,
  };
  if (!fix) Object.assign(now, draft()?.now);
  if (!fix) draft()?.rows.forEach((row, index) => rows[index] && Object.assign(rows[index], row));
  if (now.at >= rows.length) now.at = 0;
  const limits = limitsOf(load, place, fish),
    label = `${spot.name}${fish ? ', the fish' : quantity ? `, ${quantity.quantity}` : ''}`;
  const observed = () => now.moment ?? queue.houseNow().at - now.ago * 60000;
  const isLate = () => queue.houseNow().at - observed() > data.rules.late_after_ms;
  const row = () => rows[now.at];
  const lastOf = probe => (fish ? load.last[probe] : temperature ? spot.last : null);

  const tabs = h('div', { className: 'fish-tabs', role: 'group', 'aria-label': 'Fish of this round' });
  const face = h('output', { className: 'pad-figure', 'aria-live': 'polite', 'aria-atomic': 'true' });
  const says = h('div', { className: 'pad-says' }),
    asks = h('div', { className: 'pad-asks' });
  const nextKey = button('Next fish', () => next(), 'key-next'),
    storeKey = button('Store', () => save(), 'button-go key-store');
  const unitKey = button(
    '',
    () => {
      now.unit = units[(units.indexOf(now.unit) + 1) % units.length];
      show();
    },
    'key-unit',
  );

  function type(key) {
    const one = row();
    if (key === 'back') one.text = one.text.slice(0, -1);
    else if (key === '-') one.text = one.text.startsWith('−') ? one.text.slice(1) : `−${one.text}`;
    else if (key === '.') {
      if (!one.text.includes('.')) one.text += one.text.replace('−', '') ? '.' : '0.';
    } else if (one.text.replace(/[−.]/g, '').length < 7) one.text += key;
    one.confirmed = false;
    asks.replaceChildren();
    show();
  }
  function show() {
    const one = row(),
      value = temperature && one.text ? ninths(one.text, now.unit) : null;
    face.textContent = one.text || '—';
    unitKey.textContent = temperature ? `°${now.unit}` : now.unit;
    unitKey.setAttribute(
      'aria-label',
      `Unit ${temperature ? `degrees ${now.unit}` : now.unit}${units.length > 1 ? ', tap to change' : ''}`,
    );
    unitKey.disabled = units.length < 2;
    tabs.replaceChildren(
      ...(fish
        ? rows.map((each, index) =>
            h(
              'button',
              {
                type: 'button',
                className: 'fish-tab',
                'aria-pressed': String(index === now.at),
                onclick: () => {
                  now.at = index;
                  show();
                },
              },
              h('span', {}, each.probe),
              h('b', {}, each.text || '—'),
            ),
          )
        : []),
    );
    const judged =
      value === null
        ? []
        : limits.filter(limit => limit.judge).map(limit => verdict(limit.judge, value, now.unit));
    const last = lastOf(one.probe);
    says.replaceChildren(
      ...[
        judged.length > 0 &&
          h(
            'p',
            { className: 'provisional' },
            said(
              ['DEVIATION', 'ADJUST', 'MET'].find(word => judged.includes(word)),
              '',
            ),
            ' provisional',
          ),
        ...limits.slice(0, 1).map(limit => h('p', {}, `${limit.point}: ${limit.demand}`)),
        last && h('p', { className: 'quiet' }, `Last: ${last.text} at ${clock(last.at)} by ${last.by}`),
      ].filter(Boolean),
    );
    const more = fish && rows.some((each, index) => index !== now.at && !each.text);
    nextKey.hidden = !fish || rows.length < 2;
    nextKey.classList.toggle('button-go', Boolean(more && one.text));
    storeKey.classList.toggle('button-go', !(more && one.text));
    if (!fix) sessionStorage.setItem(draftName(), JSON.stringify({ now, rows }));
  }
  function wrong(one) {
    if (!temperature)
      return /^−?[0-9]*\.?[0-9]+$|^−?[0-9]+\.$/.test(one.text) ? null : { kind: 'unreadable' };
    if (ninths(one.text, now.unit) === null) return { kind: 'unreadable' };
    if (one.confirmed) return null;
    return doubt({
      text: one.text,
      unit: now.unit,
      likely: spot.likely[fish ? 'fish' : 'place'],
      possible: data.rules.possible,
      last: lastOf(one.probe),
      slip: data.rules.slip,
      now: queue.houseNow().at,
    });
  }
  // asks about the figure in place; true where nothing speaks against it
  function sure(index, onward) {
    const one = rows[index],
      found = wrong(one);
    if (!found) return true;
    now.at = index;
    show();
    const reads = `${one.text} ${temperature ? `°${now.unit}` : now.unit}`,
      unit = temperature ? ` °${now.unit}` : '';
    const words = {
      unreadable: `“${one.text}” is not a figure. Type it as the thermometer shows it.`,
      impossible: `${reads}: no fish or oven can have this.`,
      unlikely: `${reads} is unlikely here. Look again.`,
      slip: `${reads} is far from the last reading. Look again.`,
    }[found.kind];
    const first = button(
      `${found.meant}${unit} was meant`,
      () => {
        one.text = found.meant;
        asks.replaceChildren();
        show();
        onward();
      },
      'button-go',
    );
    asks.replaceChildren(
      h(
        'div',
        { className: 'box box-caution', role: 'alertdialog', 'aria-label': 'Is it so?' },
        h('strong', { className: 'box-word' }, 'Is it so?'),
        h(
          'div',
          {},
          h('p', {}, words),
          h(
            'div',
            { className: 'actions' },
            found.meant && first,
            (found.kind === 'unlikely' || found.kind === 'slip') &&
              button(`It does read ${reads}`, () => {
                one.confirmed = true;
                asks.replaceChildren();
                onward();
              }),
            button(
              'Type it again',
              () => {
                one.text = '';
                asks.replaceChildren();
                show();
              },
              'button-quiet',
            ),
          ),
        ),
      ),
    );
    asks.querySelector('button').focus();
    return false;
  }
  function next() {
    if (row().text && !sure(now.at, next)) return;
    const free = rows.findIndex((each, index) => index > now.at && !each.text);
    now.at = free >= 0 ? free : (now.at + 1) % rows.length;
    show();
  }
  // a round is of all its fish: one left out is asked about
  function ask(missing) {
    const first = rows.indexOf(missing[0]);
    const names = missing.map(one => one.probe).join(', ');
    const read = () => {
      now.at = first;
      asks.replaceChildren();
      show();
    };
    const without = () => {
      now.partial = true;
      asks.replaceChildren();
      save();
    };
    asks.replaceChildren(
      h(
        'div',
        { className: 'box box-caution', role: 'alertdialog', 'aria-label': 'Not all fish are read' },
        h('strong', { className: 'box-word' }, 'Not all'),
        h(
          'div',
          {},
          h('p', {}, `Not read: ${names}.`),
          h(
            'div',
            { className: 'actions' },
            button(`Read ${missing[0].probe}`, read, 'button-go'),
            button('Store without', without),
          ),
        ),
      ),
    );
    asks.querySelector('button').focus();
  }
  async function save() {
    const filled = rows.filter(one => one.text);
    if (!filled.length) {
      asks.replaceChildren(notice('Type first', 'Type the figure, then store it.'));
      return;
    }
    if (rows.some((one, index) => one.text && !sure(index, save))) return;
    const missing = rows.filter(one => !one.text);
    if (fish && limits.length && missing.length && !now.partial && !fix) return ask(missing);
    if (isLate() && !now.late.trim()) {
      earlier.open = true;
      now.wanting = true;
      drawWhen();
      asks.replaceChildren(
        notice(
          'Late',
          `This was read more than ${span(data.rules.late_after_ms)} ago. Say why it comes late.`,
        ),
      );
      earlier.querySelector('#why-late').scrollIntoView({ block: 'center' });
      return;
    }
    const body = {
      place,
      load: load && (fish || quantity) ? load.id : null,
      observed_at: observed(),
      late_reason: isLate() ? now.late : '',
      note: now.note,
      figures: filled.map(one => ({
        as_read: one.text.replace('−', '-'),
        unit: now.unit,
        probe: one.probe,
        quantity: quantity?.quantity ?? 'temperature',
        instrument: now.instrument,
        confirmed: one.confirmed || !!fix?.unlikely,
      })),
    };
    const found = temperature
      ? limits
          .filter(limit => limit.judge)
          .flatMap(limit =>
            filled.map(one => [verdict(limit.judge, ninths(one.text, now.unit), now.unit), limit]),
          )
      : [];
    const order = ['MET', 'ADJUST', 'DEVIATION'],
      worst = found.sort((a, b) => order.indexOf(b[0]) - order.indexOf(a[0]))[0];
    const shown = {
      read_at: body.observed_at,
      late: body.late_reason,
      figures: filled.map(one => ({
        probe: one.probe,
        text: `${one.text} ${temperature ? `°${now.unit}` : now.unit}`,
      })),
      where: label,
      verdict: worst?.[0] ?? null,
      point: worst?.[1].point ?? '',
      demand: worst?.[1].demand ?? '',
      action: worst?.[0] === 'DEVIATION' || worst?.[0] === 'ADJUST' ? worst[1].action : '',
      load: load?.id ?? null,
      place,
      then,
    };
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
      const last = {
        value: ninths(one.as_read, one.unit),
        text: `${one.as_read.replace('-', '−')} °${one.unit}`,
        at: body.observed_at,
        by: author(state.data.pen.person)?.initials ?? '',
      };
      if (fish) load.last[one.probe] = last;
      else spot.last = last;
    }
  }
  const earlier = h('details', { className: 'aside' });
  function drawWhen() {
    const step = (words, minutes) =>
      button(
        words,
        () => {
          now.moment = null;
          now.ago = minutes === 0 ? 0 : Math.max(0, now.ago + minutes);
          drawWhen();
          show();
        },
        'button-quiet',
      );
    const why = h('input', {
      type: 'text',
      id: 'why-late',
      maxLength: 300,
      value: now.late,
      oninput: event => {
        now.late = event.target.value;
        show();
      },
    });
    const reasons = ['Hands were full', 'The tablet was elsewhere', 'It was noted on paper first'].map(
      words =>
        button(
          words,
          () => {
            now.late = words;
            drawWhen();
            show();
          },
          'button-quiet',
        ),
    );
    fill(
      earlier,
      h(
        'summary',
        {},
        now.ago || now.moment ? `Read at ${clock(observed())}` : 'Read earlier, thermometer, note',
      ),
      h(
        'p',
        { className: 'when' },
        `Read at ${clock(observed())}${now.ago ? `, ${span(now.ago * 60000)} ago` : now.moment ? '' : ' (now)'}`,
      ),
      h(
        'div',
        { className: 'actions' },
        step('−1 h', 60),
        step('−15 min', 15),
        step('−5 min', 5),
        step('−1 min', 1),
        step('+1 min', -1),
        step('Now', 0),
      ),
      isLate() &&
        h(
          'div',
          { className: now.wanting && !now.late.trim() ? 'field field-wrong' : 'field' },
          h('label', { className: 'label', htmlFor: 'why-late' }, 'Why it comes late'),
          why,
          h('div', { className: 'actions' }, reasons),
        ),
      temperature &&
        h(
          'div',
          { className: 'field' },
          h('label', { className: 'label', htmlFor: 'with-what' }, 'Thermometer'),
          h(
            'select',
            {
              id: 'with-what',
              onchange: event => {
                now.instrument = Number(event.target.value) || null;
                show();
              },
            },
            h('option', { value: '' }, 'not named'),
            data.instruments.map(one =>
              h('option', { value: one.id, selected: one.id === now.instrument }, one.name),
            ),
          ),
        ),
      h(
        'div',
        { className: 'field' },
        h('label', { className: 'label', htmlFor: 'a-note' }, 'Note'),
        h('input', {
          type: 'text',
          id: 'a-note',
          maxLength: 400,
          value: now.note,
          oninput: event => {
            now.note = event.target.value;
            show();
          },
        }),
      ),
    );
  }
  drawWhen();
  const title = load ? `${spot.name}` : spot.name,
    under = load
      ? `${load.step}: ${codes(load)}${quantity ? ` · ${quantity.quantity}` : fish ? ' · inside the fish, the thickest part' : ''}`
      : `The place itself${spot.lots.length ? `, for ${spot.lots.join(', ')}` : ''}`;
  draw(
    `${title}${count}`,
    under,
    h(
      'div',
      { className: 'pad' },
      h(
        'div',
        { className: 'pad-left' },
        tabs,
        h('div', { className: 'pad-face' }, face, unitKey),
        says,
        asks,
      ),
      h(
        'div',
        { className: 'pad-right' },
        keys(type, ['7', '8', '9', '4', '5', '6', '1', '2', '3', '-', '0', '.']),
        h(
          'div',
          { className: 'pad-keys-more' },
          h(
            'button',
            {
              type: 'button',
              className: 'pad-key key-back',
              'aria-label': 'Rub out',
              onclick: () => type('back'),
            },
            '⌫',
          ),
          nextKey,
          storeKey,
        ),
      ),
      earlier,
    ),
    h(
      'div',
      { className: 'actions' },
      back('Back to the shift'),
      load && !load.own && button('More of this load', () => go(`load/${loadHash(load)}`), 'button-quiet'),
    ),
  );
  listen(type, () => {
    if (fish && row().text && rows.some((each, index) => index > now.at && !each.text)) next();
    else save();
  });
  show();
  if (fix?.why) asks.replaceChildren(notice('Refused', fix.why, 'box-refusal'));
}
function limitsOf(load, place, fish) {
  if (load) return load.limits.filter(limit => limit.of === (fish ? 'fish' : 'place'));
  const spot = find('places', place);
  const here = state.data.loads.filter(
    one => one.place === place || find('places', one.place)?.within === spot.id,
  );
  const found = here.flatMap(one =>
    one.limits.filter(limit => limit.of === (one.place === place ? 'place' : 'room')),
  );
  return [...new Map(found.map(limit => [limit.point + limit.demand, limit])).values()];
}

// ---- what it showed ----
export async function answer(key) {
  const entry = (await queue.list()).find(one => one.key === key);
  if (!entry) return go('');
  const shown = entry.shown ?? {},
    known = entry.answer,
    value = known ? known.verdict : shown.verdict;
  const how =
    entry.state === 'refused' ? 'not taken yet' : known ? 'stored' : 'kept on this tablet to be sent';
  const when = [
    shown.read_at && `Read ${clock(shown.read_at)}`,
    `${how} ${clock(entry.entered_at)} by ${author(entry.person)?.name ?? 'somebody'}`,
    shown.late && `late: ${shown.late}`,
    !known && entry.seal && 'the PIN is checked when the server can be reached',
  ];
  const acts = known ? known.do : shown.action ? [{ point: shown.point, action: shown.action }] : [];
  const must = value === 'DEVIATION' && !entry.seen;
  const done = async to => {
    if (must || known) await queue.saw(key);
    go(to);
  };
  const onward = shown.then;
  draw(
    shown.where ?? entry.label,
    when.filter(Boolean).join(', '),
    entry.state === 'refused' && notice('Refused', Object.values(entry.fields).join(' '), 'box-refusal'),
    entry.needs && notice('Waits', entry.why || 'It waits for the PIN.'),
    h(
      'section',
      { className: `answer answer-${(value ?? 'none').toLowerCase()}`, 'aria-live': 'polite' },
      h(
        'div',
        { className: shown.figures?.length > 1 ? 'round round-many' : 'round' },
        (shown.figures ?? []).map(one =>
          h(
            'div',
            {},
            one.probe && h('p', { className: 'figure-of' }, one.probe),
            h('p', { className: 'figure' }, one.text),
          ),
        ),
      ),
      value
        ? h('p', { className: 'pad-verdict' }, said(value), !known && ' provisional')
        : h('p', {}, known?.said || 'The verdict comes with the server’s answer.'),
      value && h('p', { className: 'means' }, (known ? MEANS : PROVISIONAL)[value]),
      (known?.figure || known?.demand || shown.demand) &&
        h(
          'p',
          { className: 'limit' },
          [known?.figure, (known?.demand || shown.demand) && `Limit: ${known?.demand || shown.demand}`]
            .filter(Boolean)
            .join('. '),
        ),
      known?.why &&
        known.why !== 'go on' &&
        h('p', {}, `${known.why[0].toUpperCase()}${known.why.slice(1)}.`),
      acts.map(one =>
        h(
          'div',
          { className: 'do' },
          h('h2', {}, `What the plan says to do: ${one.point}`),
          h('p', {}, one.action),
        ),
      ),
      h(
        'div',
        { className: 'actions' },
        entry.state === 'refused' && button('Put it right', () => go(`mend/${key}`), 'button-go'),
        must
          ? button('I have read this', () => done(onward), 'button-go button-wide')
          : button(onward ? 'Next place' : 'Back to the shift', () => done(onward), 'button-go button-wide'),
        known?.deviations?.map(one =>
          h('a', { className: 'button', href: one.page }, `Deviation ${one.id}, lot ${one.lot}`),
        ),
        known?.page && h('a', { className: 'button button-quiet', href: known.page }, 'All that it says'),
        known?.page &&
          h(
            'a',
            { className: 'button button-quiet', href: known.page.replace('answer', 'correct') },
            'That was wrong',
          ),
      ),
    ),
    known?.limits?.length > 1 &&
      sheet(h('h2', {}, 'Every limit that it speaks of'), known.limits.map(limitRow)),
  );
}
export const limitRow = one =>
  h(
    'div',
    { className: 'limit-row' },
    said(one.verdict, ''),
    h(
      'div',
      {},
      h('p', {}, h('b', {}, one.point), `: ${one.demand}`),
      one.operating && h('p', { className: 'small' }, `Operating limit: ${one.operating}`),
      h('p', { className: 'small' }, one.figure),
    ),
  );
async function told(key, label, title) {
  await new Promise(done => setTimeout(done, 250));
  const entry = (await queue.list()).find(one => one.key === key);
  if (entry?.state === 'refused') return go(`answer/${key}`);
  draw(
    title,
    label,
    notice(
      entry?.answer ? 'Stored' : 'Kept',
      entry?.answer?.said ?? 'Kept on this tablet; it is sent as soon as the server can be reached.',
      'box-stored',
    ),
    h(
      'div',
      { className: 'actions' },
      button('Back to the shift', () => go(''), 'button-go button-wide'),
      entry?.answer?.page &&
        h('a', { className: 'button button-quiet', href: entry.answer.page }, 'Look at it'),
    ),
  );
}
