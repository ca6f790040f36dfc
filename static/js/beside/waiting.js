// On every other page: how many entries wait on this tablet, with the way to them; they are sent from here too.
import * as queue from './queue.js';

async function show() {
  const count = await queue.waiting().catch(() => 0);
  let line = document.getElementById('tablet-waits');
  if (!count) {
    line?.remove();
    return;
  }
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
// Tried again by itself, each time after a longer pause; and as soon as the network or somebody comes back.
let pause = 10e3,
  timer;
async function attempt() {
  clearTimeout(timer);
  if (!(await queue.waiting().catch(() => 0))) return;
  await queue.fetchData();
  await queue.send();
  pause = Math.min(2 * pause, 300e3);
  timer = setTimeout(attempt, pause);
}
queue.events.addEventListener('changed', show);
addEventListener('online', attempt);
document.addEventListener('visibilitychange', () => {
  if (!document.hidden) attempt();
});
await show();
await attempt();
