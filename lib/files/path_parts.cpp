#include "files/path_parts.h"

#include <fmt/format.h>

#include "files/walk.h"

namespace platter {

Decoded decode_name(const Entry& entry) {
  Decoded name = decode_text(entry.name, entry.charset);
  if (!is_unusable_name(name.utf8)) return name;
  std::string safe;
  for (const char c : name.utf8) {
    const bool escaped = c == '/' || c == '\0' || c == '%' || name.utf8 == "." || name.utf8 == "..";
    safe += escaped ? fmt::format("%{:02X}", static_cast<unsigned char>(c)) : std::string(1, c);
  }
  return {safe.empty() ? std::string("%") : safe, false};
}

// The second path is kept only where a part is no text.
void WalkPath::append_decoded(const Entry& entry) {
  plain = false;
  const Decoded name = decode_name(entry);
  if (exact && !name.exact) bytes = path;
  append_part(path, name.utf8);
  exact = exact && name.exact;
  if (!exact) append_part(bytes, name.exact ? std::string_view(name.utf8) : entry.name);
}

}  // namespace platter
