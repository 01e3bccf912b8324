// The socket to the desk: opened again when it breaks; edits that were not confirmed are sent again.

export type Message = Record<string, any>;
type Handler = (message: Message) => void;

export class Link {
  private socket: WebSocket | null = null;
  private handlers = new Map<string, Handler[]>();
  private unconfirmed: Message[] = [];
  private wait = 250;
  private next = 1;
  /** What to say first whenever the socket opens: which book, and what was typed meanwhile. */
  greeting: () => Message | null = () => null;

  on(what: string, handler: Handler): void {
    this.handlers.set(what, [...(this.handlers.get(what) ?? []), handler]);
  }

  private tell(what: string, message: Message): void {
    for (const handler of this.handlers.get(what) ?? []) handler(message);
  }

  open(): void {
    const socket = new WebSocket(`ws://${location.host}/socket`);
    this.socket = socket;
    socket.onopen = () => {
      this.wait = 250;
      const first = this.greeting();
      if (first) socket.send(JSON.stringify(first));
      for (const message of this.unconfirmed) socket.send(JSON.stringify(message));
      this.tell("open", {});
    };
    socket.onmessage = (event) => {
      const message = JSON.parse(event.data);
      if (message.do === "done" || message.do === "refused" || message.do === "differs") this.confirm(message.id);
      this.tell(message.do, message);
    };
    socket.onclose = () => {
      if (this.socket !== socket) return;
      this.tell("broken", {});
      setTimeout(() => this.open(), this.wait);
      this.wait = Math.min(2000, this.wait * 2);
    };
  }

  private confirm(id: number | undefined): void {
    this.unconfirmed = this.unconfirmed.filter((message) => message.id !== id);
  }

  get live(): boolean {
    return this.socket?.readyState === WebSocket.OPEN;
  }

  /** Send what may be lost when the socket breaks, such as a question. */
  send(message: Message): void {
    if (this.live) this.socket!.send(JSON.stringify(message));
  }

  /** Send a change of the book: it is kept until the desk has confirmed it. */
  change(message: Message): number {
    const id = this.next++;
    const numbered = { ...message, id };
    this.unconfirmed.push(numbered);
    if (this.live) this.socket!.send(JSON.stringify(numbered));
    return id;
  }

  get waiting(): number {
    return this.unconfirmed.length;
  }
}
