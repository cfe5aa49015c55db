#include "report/json_text.h"

#include <fmt/format.h>

namespace platter {

void append_json_text(std::string& out, std::string_view utf8) {
  out += '"';
  std::size_t from = 0;
  for (std::size_t at = 0; at < utf8.size(); ++at) {
    const auto byte = static_cast<unsigned char>(utf8[at]);
    if (byte >= 0x20 && byte != '"' && byte != '\\') continue;
    out += utf8.substr(from, at - from);
    from = at + 1;
    if (byte == '"' || byte == '\\') {
      out += '\\';
      out += utf8[at];
    } else {
      out += fmt::format("\\u{:04x}", byte);
    }
  }
  out += utf8.substr(from);
  out += '"';
}

}  // namespace platter
