// On every other page: how many entries wait on this tablet, with the way to them; they are sent from here too.
import * as queue from './queue.js';

async function show() {
  const count = await queue.waiting().catch(() => 0);
  let line = document.getElementById('tablet-waits');
  if (!count) { line?.remove(); return; }
  if (!line) {
    line = document.createElement('p');
    line.id = 'tablet-waits';
    line.className = 'box';
    line.setAttribute('role', 'status');
    document.getElementById('main').prepend(line);
  }
  const link = document.createElement('a');
  link.className = 'button';
  link.href = '/#waiting';
  link.textContent = `${count} ${count > 1 ? 'entries wait' : 'entry waits'} on this tablet`;
  line.replaceChildren(link);
}
queue.events.addEventListener('changed', show);
addEventListener('online', queue.send);
await show();
await queue.send();
