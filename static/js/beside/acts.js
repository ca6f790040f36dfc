// One load and what else is entered of it, the lots and plans of the house, what waits, and which page is shown.
import { salting } from './brining.js';
import * as queue from './queue.js';
import {
  answer,
  askPin,
  author,
  back,
  button,
  clock,
  codes,
  draw,
  find,
  go,
  h,
  loadHash,
  limitRow,
  loadOf,
  notice,
  pad,
  placeName,
  quiet,
  sheet,
  span,
  state,
  store,
  who,
  WORDS,
} from './pad.js';

// ---- one load, and what else is entered of it ----
async function load(text) {
  const one = await loadOf(text);
  if (!one) return gone();
  const waits = (await queue.list()).filter(entry => entry.state !== 'stored' && sameLoad(entry, one));
  const acts = h(
    'div',
    { className: 'actions' },
    button('Read the fish', () => go(`read/load/${text}`), one.subject === 'fish' ? 'button-go' : ''),
    button(
      `Read ${placeName(one.place)}`,
      () => go(`read/place/${one.place}`),
      one.subject === 'place' ? 'button-go' : '',
    ),
    find('places', one.place)?.within &&
      button(`Read ${placeName(find('places', one.place).within)}`, () =>
        go(`read/place/${find('places', one.place).within}`),
      ),
    (one.looks.length > 0 || one.own) && button('Look for', () => go(`look/${text}`)),
    one.measures.map((what, index) =>
      button(`Measure: ${what.quantity}`, () => go(`measure/${text}/${index}`)),
    ),
    button('Write a note', () => go(`note/${text}`)),
    button('End the load', () => go(`end/${text}`)),
  );
  draw(
    placeName(one.place),
    `${one.step}, since ${clock(one.since)}: ${span(queue.houseNow().at - one.since)}`,
    waits.length > 0 &&
      notice(
        'Waiting',
        `${waits.length} ${waits.length > 1 ? 'entries wait' : 'entry waits'} on this tablet.`,
      ),
    sheet(h('h2', {}, 'Lots'), h('p', {}, codes(one)), acts),
    one.clocks.length > 0 && sheet(h('h2', {}, 'Time'), one.clocks.map(clockLine)),
    sheet(
      h('h2', {}, 'Limits'),
      one.own
        ? h('p', {}, 'This load began on this tablet; its limits come with the server’s answer.')
        : one.limits.map(limitRow),
    ),
    one.limits.length > 0 &&
      sheet(
        h('h2', {}, 'What the plan says to do when a limit is not met'),
        [...new Map(one.limits.map(limit => [limit.point, limit.action]))].map(([point, action]) =>
          h('p', {}, h('b', {}, point), `: ${action}`),
        ),
      ),
    h(
      'div',
      { className: 'actions' },
      back('Back to the shift'),
      one.plans.map(id => button('The plan', () => go(`plan/${id}`), 'button-quiet')),
      !one.own &&
        h(
          'a',
          { className: 'button button-quiet', href: `/loads/${one.id}/` },
          'Its page, with every reading',
        ),
    ),
  );
}
export const sameLoad = (entry, load) => {
  const said = JSON.parse(entry.body).load;
  return said != null && (typeof said === 'object' ? said.key === load.id?.key : said === load.id);
};
export function clockLine(one) {
  const left = one.at - queue.houseNow().at,
    over = left < 0;
  const words = {
    'at most': over ? `over by ${span(left)}` : `${span(left)} left`,
    'at least': over ? 'long enough' : `still ${span(left)}`,
    from: over ? `since ${clock(one.at)}` : `in ${span(left)}`,
    due: over ? `overdue by ${span(left)}` : `in ${span(left)}`,
  }[one.kind];
  return h(
    'p',
    { className: `clock-line${over && one.kind === 'at most' ? ' clock-over' : ''}` },
    h('b', {}, words),
    ` (${clock(one.at)}) `,
    one.label,
  );
}
const gone = () =>
  draw(
    'Not here',
    'This is not in the house any more, or this tablet has not heard of it yet.',
    h('div', { className: 'actions' }, back('Back to the shift')),
  );

function form(title, under, fields, words, save, fix) {
  const asks = h('div', {}),
    node = h(
      'form',
      {
        className: 'sheet',
        noValidate: true,
        onsubmit: event => {
          event.preventDefault();
          save(problem => asks.replaceChildren(notice('Not yet', problem)));
        },
      },
      fields,
      asks,
      h(
        'div',
        { className: 'actions' },
        h('button', { type: 'submit', className: 'button button-go button-wide' }, words),
      ),
    );
  quiet();
  draw(
    title,
    under,
    fix?.why && notice('Refused', fix.why, 'box-refusal'),
    node,
    h('div', { className: 'actions' }, back('Back to the shift')),
  );
}
const field = (id, words, node, help) =>
  h(
    'div',
    { className: 'field' },
    h('label', { className: 'label', htmlFor: id }, words),
    help && h('p', { className: 'help' }, help),
    node,
  );
// when it was, by buttons; and why it comes late
function moment(start) {
  const now = { ago: 0, fixed: start?.observed_at ?? null, late: start?.late_reason ?? '' },
    node = h('div', { className: 'field' });
  const at = () => now.fixed ?? queue.houseNow().at - now.ago * 60000,
    late = () => queue.houseNow().at - at() > state.data.rules.late_after_ms;
  const step = (words, minutes) =>
    button(
      words,
      () => {
        now.fixed = null;
        now.ago = minutes ? Math.max(0, now.ago + minutes) : 0;
        show();
      },
      'button-quiet',
    );
  function show() {
    node.replaceChildren(
      ...[
        h(
          'p',
          { className: 'when' },
          `At ${clock(at())}${now.ago ? `, ${span(now.ago * 60000)} ago` : now.fixed ? '' : ' (now)'}`,
        ),
        h(
          'div',
          { className: 'actions' },
          step('−1 h', 60),
          step('−15 min', 15),
          step('−5 min', 5),
          step('−1 min', 1),
          step('Now', 0),
        ),
        late() &&
          field(
            'why-late',
            'Why it comes late',
            h('input', {
              type: 'text',
              id: 'why-late',
              maxLength: 300,
              value: now.late,
              oninput: event => {
                now.late = event.target.value;
              },
            }),
          ),
      ].filter(Boolean),
    );
  }
  show();
  return {
    node,
    body: () => ({ observed_at: at(), late_reason: late() ? now.late : '' }),
    problem: () =>
      late() && !now.late.trim()
        ? `This was more than ${span(state.data.rules.late_after_ms)} ago. Say why it comes late.`
        : '',
    show,
  };
}
async function finish(kind, body, label, title, when, ask, fix, shown = null) {
  const late = when?.problem();
  if (late) {
    when.show();
    return ask(late);
  }
  if (fix) return fix.done(body, label, shown);
  return store({ kind, body, label, shown }, title);
}
async function look(text, fix) {
  const one = await loadOf(text);
  if (!one) return gone();
  const asked = one.looks.length ? one.looks : fix ? fix.body.looks.map(row => row.what) : [],
    answers = new Map((fix?.body.looks ?? []).map(row => [row.what, row.found])),
    when = moment(fix?.body);
  const other = h('input', { type: 'text', id: 'other', maxLength: 200 }),
    note = h('input', { type: 'text', id: 'a-note', maxLength: 400, value: fix?.body.note ?? '' });
  const choice = what =>
    h(
      'fieldset',
      { className: 'field' },
      h('legend', { className: 'label' }, `${what[0].toUpperCase()}${what.slice(1)}`),
      h(
        'div',
        { className: 'choices choices-inline' },
        [
          ['yes, found so', true],
          ['no', false],
        ].map(([words, value]) =>
          h(
            'label',
            { className: 'tick' },
            h('input', {
              type: 'radio',
              name: what,
              checked: answers.get(what) === value,
              onchange: () => answers.set(what, value),
            }),
            h('span', {}, words),
          ),
        ),
      ),
    );
  form(
    'Look for',
    `${placeName(one.place)}, ${one.step}`,
    [
      asked.map(choice),
      field('other', 'Something else, found so', other),
      field('a-note', 'Note', note),
      when.node,
    ],
    'Store what was seen',
    ask => {
      const looks = [...answers].map(([what, found]) => ({ what, found }));
      if (other.value.trim()) looks.push({ what: other.value.trim(), found: true });
      if (!looks.length) return ask('Answer yes or no to at least one.');
      return finish(
        'look',
        { load: one.id, looks, note: note.value, ...when.body() },
        `${placeName(one.place)}: ${looks.map(row => `${row.what}: ${row.found ? 'yes' : 'no'}`).join('; ')}`,
        'Looked for',
        when,
        ask,
        fix,
      );
    },
    fix,
  );
}
async function note(text, fix) {
  const one = text ? await loadOf(text) : null,
    words = h('textarea', { id: 'text', maxLength: 2000, value: fix?.body.text ?? '' });
  form(
    'Write a note',
    one ? `${placeName(one.place)}, ${one.step}` : 'About the house',
    field('text', 'Note', words),
    'Store the note',
    ask => {
      if (!words.value.trim()) return ask('Write the note.');
      return finish(
        'note',
        { load: one?.id ?? null, lot: null, text: words.value, observed_at: queue.houseNow().at },
        `Note: ${words.value.slice(0, 60)}`,
        'Note',
        null,
        ask,
        fix,
      );
    },
    fix,
  );
}
async function end(text, fix) {
  const one = await loadOf(text);
  if (!one) return gone();
  const when = moment(fix?.body),
    open = one.limits.filter(limit => limit.verdict === 'PENDING' || limit.verdict === 'DEVIATION');
  form(
    'End the load',
    `${placeName(one.place)}, ${one.step}: ${codes(one)}`,
    [
      open.length > 0 &&
        notice(
          'Not yet shown',
          `What the readings do not show when the load ends is a deviation: ${open.map(limit => `${limit.point} (${limit.figure})`).join('; ')}.`,
        ),
      when.node,
    ],
    'End the load',
    ask =>
      finish(
        'end',
        { load: one.id, note: '', ...when.body() },
        `${placeName(one.place)}: the load ended`,
        'Ended',
        when,
        ask,
        fix,
      ),
    fix,
  );
}
const weigh = grams =>
  state.data.weight_unit === 'lb' ? `${Math.floor(grams / 4.5359237) / 100}` : `${grams / 1000}`;
const grams = text =>
  Math.round(Number(text.replace(',', '.')) * (state.data.weight_unit === 'lb' ? 453.59237 : 1000));
function start(fix) {
  const { lots, places } = state.data,
    steps = new Map();
  for (const lot of lots)
    for (const step of lot.steps) {
      const one = steps.get(`${step.kind}|${step.id}`) ?? { ...step, lots: [], first: false };
      one.lots.push(lot);
      one.first ||= step.next;
      steps.set(`${step.kind}|${step.id}`, one);
    }
  const choose = (title, under, rows) => {
    quiet();
    draw(
      title,
      under,
      h('div', { className: 'names' }, rows),
      h('div', { className: 'actions' }, back('Back to the shift')),
    );
  };
  if (fix) {
    const wanted = fix.body.portions[0]?.step,
      step = [...steps.values()].find(one => one.id === wanted),
      place = find('places', fix.body.place);
    if (step && place) return what(step, place);
  }
  const inOrder = [...steps.values()].sort((a, b) => Number(b.first) - Number(a.first));
  choose(
    'Start a load',
    inOrder.length ? 'Which step?' : 'No lot in the house is free for a step.',
    inOrder.map(step =>
      button(
        h(
          'span',
          {},
          step.name,
          step.first &&
            h(
              'small',
              {},
              ` next for ${step.lots
                .filter(lot => lot.steps.some(each => each.id === step.id && each.next))
                .map(lot => lot.code)
                .join(', ')}`,
            ),
        ),
        () => where(step),
        step.first ? 'button-name button-first' : 'button-name',
      ),
    ),
  );
  function where(step) {
    const held = id =>
      state.data.loads.some(load => load.place === id) &&
      ['smokehouse', 'brine tank'].includes(find('places', id).kind);
    choose(
      step.name,
      'Where?',
      places
        .filter(place => !step.place_kind || place.kind === step.place_kind)
        .map(place =>
          button(
            h('span', {}, place.name, held(place.id) && h('small', {}, ' holds a load now')),
            () => what(step, place),
            'button-name',
          ),
        ),
    );
  }
  function what(step, place) {
    const when = moment(fix?.body),
      salt = salting(step, { weigh, grams }, fix?.body),
      rows = step.lots.map(lot => {
        const next = lot.steps.some(each => each.id === step.id && each.next),
          typed = fix?.body.portions.find(one => one.lot === lot.id);
        return {
          lot,
          tick: h('input', {
            type: 'checkbox',
            checked: fix ? Boolean(typed) : next,
            'aria-label': `Lot ${lot.code}`,
          }),
          weight: h('input', {
            type: 'text',
            inputMode: 'decimal',
            value: weigh(typed?.grams ?? lot.free_g),
            id: `w${lot.id}`,
          }),
        };
      });
    form(
      `${step.name}, ${place.name}`,
      'Which lots, and how much of each?',
      [
        rows.map(({ lot, tick, weight }) =>
          h(
            'div',
            { className: 'lot-row' },
            h('label', { className: 'tick' }, tick, h('span', {}, `${lot.code}, ${lot.product}`)),
            field(`w${lot.id}`, `${state.data.weight_unit}, of ${weigh(lot.free_g)}`, weight),
          ),
        ),
        salt.node,
        when.node,
      ],
      'Start the load',
      async ask => {
        const portions = rows
          .filter(row => row.tick.checked)
          .map(({ lot, weight }) => ({
            lot: lot.id,
            step: step.id,
            grams: weight.value === weigh(lot.free_g) ? lot.free_g : grams(weight.value),
          }));
        if (!portions.length) return ask('Choose at least one lot.');
        const wrong = portions.find(one => !(one.grams > 0) || one.grams > find('lots', one.lot).free_g);
        if (wrong)
          return ask(
            `Lot ${find('lots', wrong.lot).code}: type a weight, at most ${weigh(find('lots', wrong.lot).free_g)} ${state.data.weight_unit}.`,
          );
        const said = await salt.look(portions, when.body().observed_at, ask);
        if (!said) return null;
        return finish(
          'start',
          { place: place.id, portions, note: '', ...said, ...when.body() },
          `${step.name} in ${place.name}: ${portions.map(one => find('lots', one.lot).code).join(', ')}`,
          'Begun',
          when,
          ask,
          fix,
          { step: step.name, place: place.id },
        );
      },
      fix,
    );
  }
}
function lots() {
  quiet();
  const { data } = state;
  draw(
    'Lots in hand',
    'Lots with fish that stands in no load.',
    data.lots.map(lot =>
      sheet(
        h('h2', {}, lot.code),
        h('p', {}, `${lot.product}: ${weigh(lot.free_g)} ${data.weight_unit} free`),
        h(
          'p',
          {},
          `Next: ${
            lot.steps
              .filter(step => step.next)
              .map(step => step.name)
              .join(', ') || 'nothing that its plan requires'
          }`,
        ),
        h(
          'div',
          { className: 'actions' },
          button('Start a load', () => go('start')),
          !lot.finished && button('Finish the lot', () => go(`finish/${lot.id}`)),
          h('a', { className: 'button button-quiet', href: `/lots/${lot.code}/` }, 'Its page'),
        ),
      ),
    ),
    data.plans.map(one =>
      h(
        'div',
        { className: 'actions' },
        button(`Plan: ${one.title}`, () => go(`plan/${one.id}`), 'button-quiet'),
      ),
    ),
    h('div', { className: 'actions' }, back('Back to the shift')),
  );
}
function finishLot(id, fix) {
  const lot = find('lots', Number(id));
  if (!lot) return gone();
  const when = moment(fix?.body),
    packed = h('input', {
      type: 'text',
      inputMode: 'decimal',
      id: 'packed',
      value: fix ? weigh(fix.body.packed_g) : '',
    }),
    packs = h('input', { type: 'text', inputMode: 'numeric', id: 'packs', value: fix?.body.packs ?? '' });
  form(
    `Finish lot ${lot.code}`,
    'Processing is over: what came out.',
    [field('packed', `Packed, ${state.data.weight_unit}`, packed), field('packs', 'Packs', packs), when.node],
    'Finish the lot',
    ask => {
      const weight = grams(packed.value),
        count = Number(packs.value);
      if (!(weight > 0)) return ask('Type how much was packed.');
      if (!Number.isInteger(count) || count < 0) return ask('Type how many packs.');
      return finish(
        'finish',
        { lot: lot.id, packed_g: weight, packs: count, note: '', ...when.body() },
        `Lot ${lot.code} finished: ${packed.value} ${state.data.weight_unit}, ${count} packs`,
        'Finished',
        when,
        ask,
        fix,
      );
    },
    fix,
  );
}
function plan(id) {
  const one = find('plans', Number(id));
  quiet();
  if (!one) return gone();
  draw(
    'The plan',
    one.title,
    one.points.map(point =>
      sheet(
        h('h2', {}, point.name),
        h('p', {}, `At: ${point.step}`),
        h(
          'ul',
          {},
          point.limits.map(text => h('li', {}, text)),
        ),
        h('p', {}, h('b', {}, 'When a limit is not met: '), point.action),
      ),
    ),
    h('div', { className: 'actions' }, back('Back to the shift')),
  );
}

// ---- what waits ----
async function waitingPage() {
  quiet();
  const all = await queue.list(),
    open = all.filter(entry => entry.state !== 'stored'),
    sent = all
      .filter(entry => entry.state === 'stored')
      .slice(-20)
      .reverse();
  const row = entry =>
    h(
      'li',
      { className: 'queued' },
      h(
        'p',
        {},
        h('b', {}, entry.label),
        `, entered ${clock(entry.entered_at)} by ${author(entry.person)?.initials ?? '?'}`,
      ),
      entry.state === 'refused'
        ? h(
            'div',
            {},
            notice('Refused', Object.values(entry.fields ?? {}).join(' '), 'box-refusal'),
            h(
              'div',
              { className: 'actions' },
              button('Put it right', () => go(`mend/${entry.key}`), 'button-go'),
              button('Set it down as a note', async () => {
                const one = await who(`Note of: ${entry.label}`);
                if (one) {
                  await queue.intoNote(entry.key, one.id, one.pin);
                  await queue.send();
                }
                go('waiting');
                route();
              }),
            ),
          )
        : entry.needs
          ? h(
              'div',
              {},
              h('p', {}, entry.why),
              entry.needs !== 'right' &&
                h(
                  'div',
                  { className: 'actions' },
                  button(
                    'Type the PIN again',
                    () =>
                      askPin(
                        author(entry.person) ?? { id: entry.person, name: 'The PIN again' },
                        async ({ id, pin }) => {
                          await queue.retype(id, pin);
                          await queue.send();
                          go('waiting');
                          route();
                        },
                        entry.why,
                        entry.label,
                      ),
                    'button-go',
                  ),
                ),
            )
          : h('p', { className: 'small' }, 'Waits to be sent.'),
    );
  draw(
    open.length ? `${open.length} ${open.length > 1 ? 'entries wait' : 'entry waits'}` : 'Nothing waits',
    state.online
      ? 'The server can be reached.'
      : `The server cannot be reached now. What is entered stays on this tablet until it can.${state.tried ? ` Tried at ${clock(state.tried)}.` : ''}`,
    open.length > 0 &&
      sheet(
        h('ol', { className: 'plain' }, open.map(row)),
        h(
          'div',
          { className: 'actions' },
          button(
            'Send now',
            async () => {
              await queue.send();
              state.tried = queue.houseNow().at;
              route();
            },
            open.some(entry => entry.needs) ? '' : 'button-go',
          ),
        ),
      ),
    sent.length > 0 &&
      sheet(
        h('h2', {}, 'Sent lately'),
        h(
          'ul',
          { className: 'plain' },
          sent.map(entry =>
            h(
              'li',
              {},
              entry.answer?.verdict
                ? h(
                    'a',
                    { className: 'big-link', href: `#answer/${entry.key}` },
                    `${entry.label}: ${WORDS[entry.answer.verdict]}`,
                  )
                : `${entry.label}: stored`,
            ),
          ),
        ),
      ),
    h('div', { className: 'actions' }, back('Back to the shift')),
  );
}
// A refused entry in its own form again, with all that was typed.
async function mend(key) {
  const entry = (await queue.list()).find(one => one.key === key);
  if (entry?.state !== 'refused') return go('waiting');
  const body = JSON.parse(entry.body),
    named = typeof body.load === 'object' ? body.load && `key:${body.load.key}` : body.load && `${body.load}`;
  const fix = {
    body,
    why: Object.values(entry.fields ?? {}).join(' '),
    unlikely: entry.unlikely,
    done: async changed => {
      const one = await who(entry.label);
      if (!one) return;
      await queue.mend(key, { ...changed, settled: 'observed_at' in (entry.fields ?? {}) }, one.pin, one.id);
      queue.send();
      go(entry.kind === 'reading' ? `answer/${key}` : 'waiting');
    },
  };
  if (entry.kind === 'reading') {
    const load = named ? await loadOf(named) : null,
      what = body.figures[0]?.quantity;
    return pad({
      load,
      place: body.place,
      quantity:
        what && what !== 'temperature'
          ? (load?.measures.find(one => one.quantity === what) ?? {
              quantity: what,
              units: [body.figures[0].unit],
            })
          : null,
      fix,
    });
  }
  return {
    look: () => look(named, fix),
    end: () => end(named, fix),
    note: () => note(named ?? '', fix),
    finish: () => finishLot(body.lot, fix),
    start: () => start(fix),
  }[entry.kind]();
}

// ---- which page ----
state.again = route;
export async function route() {
  quiet();
  const [name, ...rest] = decodeURIComponent(location.hash.slice(1)).split('/'),
    tail = rest.join('/');
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
  const due = state.data.round,
    at = Math.min(Number(tail) || 0, due.length - 1);
  if (!due.length) return gone();
  return pad({
    place: due[at].place,
    then: at + 1 < due.length ? `round/${at + 1}` : '',
    count: `, ${at + 1} of ${due.length}`,
  });
}
async function measure(tail) {
  const [id, index] = tail.split('/'),
    one = await loadOf(id);
  return one?.measures[Number(index)]
    ? pad({ load: one, place: one.place, quantity: one.measures[Number(index)] })
    : gone();
}
const PAGES = {
  read,
  round,
  measure,
  load,
  look,
  note,
  end,
  start: () => start(),
  lots,
  finish: finishLot,
  plan,
  answer,
  waiting: waitingPage,
  mend,
};
