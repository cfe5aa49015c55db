// JSON strings, for what is written line by line; whole documents are nlohmann-json's.
#pragma once

#include <string>
#include <string_view>

namespace platter {

/// Appends UTF-8 text as a JSON string with its quotes (RFC 8259, 7).
void append_json_text(std::string& out, std::string_view utf8);

}  // namespace platter
