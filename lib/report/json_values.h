// Pieces of JSON documents; only for the files of lib/report.
#pragma once

#include <string_view>

#include <nlohmann/json.hpp>

#include "core/facts.h"
#include "core/finding.h"
#include "survey/survey.h"

namespace platter {

using Json = nlohmann::ordered_json;

/// Sets `key`, and `key_raw` in hex beside it when the bytes on disk are no plain text.
void put_text(Json& object, std::string_view key, const DiskText& text);
[[nodiscard]] Json findings_value(const std::vector<Finding>& findings);
[[nodiscard]] Json image_value(const ImageFacts& image);
/// A path as the person gave it: percent-escaped when it is no UTF-8.
[[nodiscard]] std::string json_text(std::string_view bytes);
[[nodiscard]] std::string document_text(const Json& document);

}  // namespace platter
