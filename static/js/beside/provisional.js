// What this tablet may say by itself of one figure: a provisional verdict, or a doubt about what was typed.
// The twin of lots/core/provisional.py: the same cases (fixtures/provisional.json) run in both.

const NUMBER = /^[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)$/;

// 1/9000 °C, exactly, or null where it cannot be read as one figure (lots/core/units.py: to_ninths)
export function ninths(text, unit) {
  const plain = text.trim().replaceAll('−', '-').replaceAll('\u00a0', '');
  if (!NUMBER.test(plain)) return null;
  const comma = plain.indexOf(',');
  if (comma >= 0 && plain.length - comma === 4 && /[1-9]/.test(plain.slice(0, comma))) return null;
  const [, sign, whole, decimals = ''] = /^([+-]?)([0-9]*)[.,]?([0-9]*)$/.exec(plain);
  const scale = 10n ** BigInt(decimals.length);
  const figure = BigInt(whole + decimals || '0') * (sign === '-' ? -1n : 1n);
  const value = unit === 'F' ? figure * 5000n - 160000n * scale : figure * 9000n;
  return value % scale === 0n ? Number(value / scale) : null;
}

// judge: {low, high, op_low, op_high}, each {C, F} in ninths or null
export function verdict(judge, value, unit) {
  const holds = (low, high) => (!low || value >= low[unit]) && (!high || value <= high[unit]);
  if (!holds(judge.low, judge.high)) return 'DEVIATION';
  return holds(judge.op_low, judge.op_high) ? 'MET' : 'ADJUST';
}

// null, or {kind: impossible | unlikely | slip, meant: what may have been meant, or ''}
export function doubt({ text, unit, likely, possible, last, slip, now }) {
  const value = ninths(text, unit);
  const recent = last && now - last.at <= slip.last_within_ms ? last : null;
  const inside = (range, figure) => range.low <= figure && figure <= range.high;
  const fits = other => {
    const figure = ninths(other, unit);
    return (
      figure !== null && inside(likely, figure) && (!recent || Math.abs(figure - recent.value) <= slip.near)
    );
  };
  const meant = candidates(text).find(fits) ?? '';
  if (!inside(possible, value)) return { kind: 'impossible', meant };
  if (!inside(likely, value)) return { kind: 'unlikely', meant };
  if (recent && meant && Math.abs(value - recent.value) > slip.far) return { kind: 'slip', meant };
  return null;
}
function candidates(text) {
  const plain = text.trim(),
    whole = /^([-−]?)([0-9]{3,4})$/.exec(plain),
    out = [];
  if (whole) out.push(`${whole[1]}${whole[2].slice(0, -1)}.${whole[2].slice(-1)}`);
  out.push(/^[-−]/.test(plain) ? plain.slice(1) : `−${plain.replace(/^\+/, '')}`);
  return out;
}
