/** An error with a code that the screens have words for. */
export class EngineError extends Error {
  constructor(code, message, cause) {
    super(message, { cause });
    this.name = "EngineError";
    this.code = code;
  }
}
