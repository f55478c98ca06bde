// The token that every request of a signed-in page carries, and how it is had anew after signing in on another tab.
const meta = () => document.querySelector('meta[name="portraitq-token"]');

export function token() {
  return meta()?.content ?? "";
}

// Reads this page's token again; false when nobody is signed in.
export async function renew() {
  try {
    const answer = await fetch(location.href, { cache: "no-store", headers: { Accept: "text/html" } });
    const found = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector('meta[name="portraitq-token"]');
    if (!found?.content || !meta()) return false;
    meta().content = found.content;
    return true;
  } catch {
    return false;
  }
}
